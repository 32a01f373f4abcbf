"""How a register, or a table of codes, is written, as the job file says, and its columns by our names."""

from collections.abc import Collection, Mapping, Sequence

from msgspec import Struct, field

from pipeline.control.register_rows import KNOWN, POSITION, QUOTE
from pipeline.files.angle_notations import PARTS_FIX, TO_DEGREES, parts_problem, split_into_parts, unread_notation
from pipeline.files.angle_parts import AngleParts, joined_by, parts_of
from pipeline.files.features import Features
from pipeline.files.sheet import Sheet
from pipeline.files.written_table import AS_FOUND, Written, by_place
from pipeline.job.model import UNSTATED, ControlSection
from pipeline.job.toml_text import quoted
from pipeline.near import listed, nearest, plain
from pipeline.problems import Problems
from pipeline.replace import replace
from pipeline.words import plural

#: What lets minutes and seconds in columns of their own be read with their degrees.
_STATE_DMS = 'state angles = "dms" in [control]'
#: Every column of a register, whatever its CRS.
COLUMNS = (*KNOWN, *POSITION["projected"], *POSITION["geographic"], "height", "ellipsoid_height")


class Form(Struct, frozen=True):
    """How a table is written that the job file names: a register, unless it says otherwise.

    Args:
        written: its text, as far as it is stated.
        named: our name of a column -> the register's.
        dms: whether longitude and latitude are degrees, minutes and seconds.
        sigma: standard uncertainty of each horizontal component and of the height where none is stated, metres.
        columns: our names of its columns.
        called_so: what it is, in words; ``table`` is the job file's table that names it.
    """

    written: Written = AS_FOUND
    named: Mapping[str, str] = field(default_factory=dict)
    dms: bool = False
    sigma: tuple[float, float] = UNSTATED
    columns: tuple[str, ...] = COLUMNS
    called_so: str = "a register"
    table: str = "control"

    @classmethod
    def from_control(cls, control: ControlSection) -> "Form":
        """Return what the keys of ``[control]`` say."""
        columns: dict[str, str | int] = control.columns.model_dump(exclude_none=True)
        named = {word: by_place(name) if isinstance(name, int) else name for word, name in columns.items()}
        places = frozenset(name for name in columns.values() if isinstance(name, int))
        written = Written(
            control.delimiter, control.decimal, control.encoding, control.header, places, control.layer, pages=True
        )
        sigma = (control.sigma_horizontal, control.sigma_vertical)
        return cls(written, named, control.angles == "dms", sigma)

    def stated(self) -> dict[str, str]:
        """Return our names of the columns that are mapped, each with the value that the job file maps it by."""
        places = {by_place(place): str(place) for place in self.written.places}
        return {word: places.get(theirs) or quoted(theirs) for word, theirs in self.named.items()}

    def wanted(self) -> frozenset[str]:
        """Return the names of the columns that are looked for, as names are compared."""
        return frozenset({*map(plain, self.named.values()), *(name for name in self.columns if name not in self.named)})

    def called(self, name: str, there: Collection[str] = ()) -> tuple[str, ...]:
        """Return our names of a column of the register, its own where it is none of them.

        One that is called like one of ours, for which another is mapped, is not taken for it; nor is one that differs
        in letters' case from what is mapped, where a column is ``there`` that does not.
        """
        ours = tuple(
            word
            for word, theirs in self.named.items()
            if theirs == name or (plain(theirs) == plain(name) and theirs not in there)
        )
        own = name if name in there else plain(name)
        return ours or ((f"{own}_register",) if plain(name) in self.named else (own,))

    def _see_twins(self, sheet: Sheet, problems: Problems) -> None:
        """Note columns that differ in nothing but letters' case, of which the job file does not say which is meant."""
        alike: dict[str, list[str]] = {}
        for name in filter(None, sheet.columns):
            alike.setdefault(plain(name), []).append(name)
        for one, names in alike.items():
            mapped = [theirs for theirs in self.named.values() if plain(theirs) == one]
            wanted = bool(mapped) or (one in self.columns and one not in self.named)
            if len(names) > 1 and wanted and not (mapped and set(mapped) <= set(names)):
                what = f"the column '{one}' appears twice: {listed(names, QUOTE)}"
                fix = f"state which one is meant, spelled as there, in [{self.table}.columns]"
                problems.add(sheet.shown, sheet.header, what, fix)

    def of_sheet(self, sheet: Sheet, problems: Problems) -> Sheet | None:
        """Return a table with its columns by our names; None where one that is mapped is not there."""
        before = len(problems.found)
        self._see_twins(sheet, problems)
        if len(problems.found) > before:
            return None
        if not self.named:
            return sheet
        called = {name: self.called(name, sheet.columns) for name in sheet.columns if name}
        self._see_notations(sheet, problems)
        nameless = [place for place, name in enumerate(sheet.columns, start=1) if not name]
        if not self._is_there(sheet.shown, sheet.header, tuple(called), problems, nameless):
            return None
        columns = tuple(word for name in sheet.columns for word in called.get(name, ("",)))
        if angles := self._parts(sheet):
            cells = joined_by(angles, [cells for _, cells in sheet.rows])
            sheet = replace(sheet, rows=tuple(zip((line for line, _ in sheet.rows), cells, strict=True)))
        return replace(
            sheet, columns=columns, rows=tuple((line, _renamed(cells, called)) for line, cells in sheet.rows)
        )

    def of_features(self, features: Features, shown: str, problems: Problems) -> Features | None:
        """Likewise for features."""
        names = {name for cells in features.cells for name in cells}
        if not self.named:
            return features
        if not self._is_there(shown, 0, tuple(sorted(names)), problems):
            return None
        called = {name: self.called(name) for name in names}
        return replace(features, cells=tuple(_renamed(cells, called) for cells in features.cells))

    def _is_there(
        self, shown: str, line: int, names: tuple[str, ...], problems: Problems, nameless: Sequence[int] = ()
    ) -> bool:
        there = set(map(plain, names))
        missing = [(word, theirs) for word, theirs in self.named.items() if plain(theirs) not in there]
        for word, theirs in missing:
            near = nearest(theirs, names)
            is_it = f"nearest: {listed(near, QUOTE)}; " if near else ""
            what = f"[{self.table}.columns] maps {word} to the column '{theirs}', which the file does not have"
            fix = f"{is_it}the columns are {listed(names, QUOTE)}"
            if nameless:
                without = f"{plural(len(nameless), 'column', 'columns')} {listed(map(str, nameless))}"
                fix += f", and {without} without a heading: map one by its number, such as {word} = {nameless[0]}"
            problems.add(shown, line, what, fix)
        return not missing

    def _parts(self, sheet: Sheet) -> dict[str, AngleParts]:
        """Return the angles whose degrees are mapped, and whose minutes and seconds stand in other columns."""
        if not self.dms:
            return {}
        heads = dict(zip(sheet.columns, sheet.headings or sheet.columns, strict=True))
        columns = {head: name for name, head in heads.items() if head}
        mapped = [heads[name] for name in map(plain, self.named.values()) if name in heads]
        found: dict[str, AngleParts] = {}
        for word in POSITION["geographic"]:
            theirs = heads.get(plain(self.named.get(word, word)), "")
            if not split_into_parts(theirs, list(columns)):
                continue
            texts = {head: [cells.get(name, "") for _, cells in sheet.rows] for head, name in columns.items()}
            if (parts := parts_of(theirs, word, texts, mapped)) is not None:
                rest = tuple(columns[head] for head in parts.rest)
                found[word] = AngleParts(columns[theirs], rest, columns.get(parts.side, ""))
        return found

    def _see_notations(self, sheet: Sheet, problems: Problems) -> None:
        """Note angles whose headings state a notation that is not read."""
        mapped, joined = set(map(plain, self.named.values())), self._parts(sheet)
        for word in POSITION["geographic"]:
            theirs = self.named.get(word, word)
            # degrees with minutes beside them are no gon, whatever their heading says: "B Grad"
            told, fix = None if word in joined else unread_notation(theirs, dms=self.dms), TO_DEGREES
            heads = {plain(head): head for head in sheet.headings or sheet.columns}
            parts = split_into_parts(heads.get(plain(theirs), ""), list(heads.values()))
            if told is None and parts and not mapped & set(map(plain, parts)) and word not in joined:
                told, fix = parts_problem(parts), PARTS_FIX if self.dms else f"{_STATE_DMS}; else {PARTS_FIX}"
            if told is not None:
                problems.add(sheet.shown, sheet.header, f"the heading '{theirs}' ({word}) {told}", fix)


#: A register of which the job file says nothing.
AS_OURS = Form()


def _renamed(cells: Mapping[str, str], called: Mapping[str, tuple[str, ...]]) -> dict[str, str]:
    return {word: text for name, text in cells.items() for word in called.get(name, (name,))}
