"""What is the most that files may bring: all limits in one place, as README tells them.

Each lies far above what surveyors' files hold, and low enough that a file made to cost much is refused in words before
it has cost much.
"""

#: Bytes of a job file, which is taken apart three times, of a register or table of sessions, kept in memory whole, and
#: of a geoid grid.
JOB_FILE, TABLE, GRID = 4 << 20, 256 << 20, 4 << 30

#: Bytes of a file that holds a CRS; those that are written have a few thousand.
CRS_FILE = 1 << 20

#: Bytes of a file of ours beside the issues: a note has some hundreds, a record and an issues list some MB.
NOTE = 256 << 20

#: Bytes of one line of an export, and columns (or names of properties) of an export, of all of a job's exports
#: together, and of a table. SQLite has 2,000 columns at most.
LINE, COLUMNS, ALL_COLUMNS = 1 << 20, 1_000, 1_800

#: Rows of a text file that cannot be split into cells, and rows of a register in which something is wrong.
UNSPLIT, WRONG = 100_000, 20_000

#: Cells (rows by columns) of a GeoJSON file or a layer, however few bytes it has; each of its bytes allows one more.
CELLS = 4_000_000

#: Values of a register in GeoJSON, counted by its commas and brackets: every one becomes an object in memory.
VALUES = 6_000_000

#: Codes of a table of codes, and codes that may be layers of a drawing.
CODES, DRAWN_CODES = 20_000, 5_000

#: Bytes of all XML in a spreadsheet, unpacked, and of any part of it but sheets and texts; its parts; cells of a sheet,
#: empty ones with a format too, and its merged ranges and the cells in them.
WORKBOOK, WORKBOOK_PART, WORKBOOK_PARTS = 128 << 20, 8 << 20, 10_000
WORKBOOK_CELLS, MERGED = 1_000_000, 10_000

#: Characters of one feature of a GeoJSON file, or of one other member of it.
FEATURE = 8 << 20

#: Sessions and blocks of points of a job.
SESSIONS, BLOCKS = 2_000, 500

#: Files of a job, and files and folders that are looked at for one pattern of `files`.
EXPORTS, LOOKED_AT = 1_000, 250_000

#: Files with an ending of readings, registers or grids that `tiedown new` looks at, and how many folders deep.
NEW_FILES, NEW_DEEP = 2_000, 12

#: Characters of a message that are told, and names that are not there for which the nearest ones are looked for.
MESSAGE, HINTS = 1_000, 20

#: Metres of a register's coordinate and height, and of a standard uncertainty at most; and the least of such a one, and
#: of a tolerance or limit, that is not nothing. Beyond them arithmetic has no digits left, and the earth no place.
COORDINATE, HEIGHT, SIGMA, LEAST = 1e8, 1e5, 1e5, 1e-6

#: Metres of a reading's coordinate, beyond which arithmetic overflows. Up to them it is judged by where it lies, and
#: numbers that stand for none (1e38) are known as such.
LENGTH = 1e40

#: Occupations of control marks of a job up to which it is looked for what failing ones may mean: the cost is that of
#: their number, for every session with a failing one.
DIAGNOSED = 10_000

#: Readings of a job that may stand on marks.
OCCUPATIONS = 30_000
