"""Everything a job names, loaded and checked before anything is computed; all problems at once."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from msgspec import Struct

from pipeline.codes.drawn import check_drawn
from pipeline.codes.table import CodeTable, form_of, read_code_table
from pipeline.codes.writing import Writing, writing_of
from pipeline.control import Form, Register, RegisterFrame, listed_marks, read_register
from pipeline.control.site_marks import SiteMarks, read_site_marks
from pipeline.digest import digest, signature
from pipeline.geodesy import crs
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.realisations import realised
from pipeline.geodesy.units import lengths
from pipeline.intake.field_windows import FieldWindow, check_windows, field_windows
from pipeline.intake.marks_of_sessions import check_marks_of_sessions
from pipeline.intake.register_geometry import check_register_geometry
from pipeline.intake.register_units import check_register_units, check_units_row
from pipeline.intake.spellings import with_marks_of
from pipeline.intake.zone_numbers import check_zone_numbers
from pipeline.issue.folder.ownership import Owner, find_keeper, in_the_way
from pipeline.issue.folder.path_length import path_too_long
from pipeline.job.load import LoadedJob, begin_job, load_job
from pipeline.job.model import Columns
from pipeline.job.sound_sections import Part
from pipeline.problems import JobError, Problems
from pipeline.read.exports import Export
from pipeline.read.find_exports import find_exports
from pipeline.read.point_names import UnusedFile
from pipeline.replace import replace
from pipeline.sessions.windows import SessionWindow, load_sessions

#: The columns that a position may be read from, by the kind of CRS that they go with.
POSITION_COLUMNS = {
    "geographic": ("longitude", "latitude"),
    "projected": ("easting", "northing"),
    "geocentric": ("x", "y", "z"),
}
#: Likewise the position of the base; its height goes with either.
BASE_COLUMNS = {
    "geographic": ("base_longitude", "base_latitude"),
    "projected": ("base_easting", "base_northing"),
    "geocentric": (),
}


class GoneExports(Struct, frozen=True):
    """Exports that an issue before read, that a pattern of the job file still asks for, and that are not there.

    Args:
        issue: the number of that issue.
        files: the exports, as that issue has them.
        occupations: the names of the ties and checks that it had, of all its exports.
    """

    issue: int
    files: tuple[str, ...]
    occupations: frozenset[str]


class Prepared(Struct, frozen=True, kw_only=True):
    """A job with its sessions, its register (None where no session needs one) and its raw files.

    ``faulty`` names the parts that have problems, "target" where a file of it is missing: what follows
    from one of them is not to be told as a problem of its own. ``sessions_sum`` is the sum of the table of sessions, ""
    where the job file has them; ``site`` are the marks of the site's own system, None where it has none;
    ``field_windows`` the times in which readings carry a correction of the field; ``codes`` is the table of codes, None
    where the job names none, and ``writing`` how strings are written, None where it has no linework; ``unused`` are
    raw files that have problems; ``gone`` are those that the last issue read and that are not there, None where there
    are none or no issue is before.
    """

    loaded: LoadedJob
    windows: tuple[SessionWindow, ...]
    register: Register | None
    exports: tuple[Export, ...]
    faulty: frozenset[Part] = frozenset()
    sessions_sum: str = ""
    site: SiteMarks | None = None
    field_windows: tuple[FieldWindow, ...] = ()
    codes: CodeTable | None = None
    writing: Writing | None = None
    unused: tuple[UnusedFile, ...] = ()
    gone: GoneExports | None = None

    @property
    def named(self) -> Callable[[str], str]:
        """Return what gives the code that a text stands for: of strings without number and words, else the text."""
        return self.writing.named if self.writing is not None else str

    @property
    def mark_names(self) -> tuple[str, ...]:
        """Return the names of the register's marks, then those of temporary ones that sessions tie or set up on."""
        sessions = [window.session for window in self.windows]
        named = {tie.mark for session in sessions for tie in session.ties}
        named |= {session.setup.mark for session in sessions if session.setup is not None}
        return tuple(dict.fromkeys((*self.register_names, *sorted(named))))

    @property
    def register_names(self) -> tuple[str, ...]:
        """Return the names of the register's marks, none where no session needs a register."""
        return self.register.names if self.register is not None else ()


def load(path: Path, *, sessions: bool = True) -> LoadedJob:
    """Load a job file, without ``sessions`` also one that has none yet.

    Raises `JobError` with everything that is wrong with it.
    """
    problems = Problems()
    loaded = load_job(path, problems, sessions=sessions)
    if loaded is None:
        raise JobError(problems.found)
    return loaded


def begin(path: Path, problems: Problems) -> LoadedJob:
    """Load a job file, also one that is only good for looking for more problems: those that it has are added.

    Raises `JobError` with everything that is wrong with it where nothing else can be judged.
    """
    loaded = begin_job(path, problems)
    if loaded is None:
        raise JobError(problems.found)
    return loaded


def prepare(loaded: LoadedJob, problems: Problems) -> Prepared:
    """Load the sessions, the register and the heads of the exports that a job file names.

    Everything that is wrong goes to ``problems``. Where there is any, what is returned is only good for looking for
    more: the register may be missing, and exports that cannot be read or placed are left out.
    """
    _check_folder(loaded, problems)
    if (long := path_too_long(loaded.job.job.folder, loaded.job.job.name)) is not None:
        problems.add(*loaded.where("job", "folder"), *long)
    codes = _codes(loaded, problems)
    writing = _writing(loaded, codes, problems)
    faulty = set[Part](loaded.faulty)
    with _part("sessions", faulty, problems):
        windows, sessions_sum = _sessions(loaded, problems)
    with _part("frames", faulty, problems):
        sound = _check_frames(loaded, problems)
    with _part("register", faulty, problems):
        register, site = _register(loaded, problems), _site(loaded, problems)
    with _part("exports", faulty, problems):
        issued = find_keeper(loaded.job.job.folder)
        exports, unused = find_exports(
            loaded.job, loaded.path.parent, loaded.shown, loaded.where, problems, issued, _other_tables(loaded)
        )
    known = _known_marks(loaded, register)
    windows = with_marks_of(windows, known)
    check_marks_of_sessions(windows, known, problems)
    carried = field_windows(windows, exports, loaded.recorded)
    check_windows(carried, register, exports, faulty <= {"sessions"}, problems)
    usable = tuple(export for export in exports if export.block in sound)
    unused += [UnusedFile(one.path, one.shown, one.points) for one in exports if one.block not in sound]
    taken = _of_usable(carried, exports, sound)
    return Prepared(
        loaded=loaded,
        windows=windows,
        register=register,
        exports=usable,
        faulty=frozenset(faulty),
        sessions_sum=sessions_sum,
        site=site,
        field_windows=taken,
        codes=codes,
        writing=writing,
        unused=tuple(unused),
    )


def _other_tables(loaded: LoadedJob) -> dict[tuple[str, str | None], str]:
    """Return what the job file names as something else than exports, in words, by path with links resolved and layer.

    A file may hold the register in one layer and readings in another.
    """
    job = loaded.job
    control, site, codes, sessions = job.control, job.target.site, job.codes, job.sessions
    found: dict[tuple[str, str | None], str] = {}

    def add(file: Path | None, role: str, *place: str, layer: str | None = None) -> None:
        if file is not None:
            found[os.path.realpath(file), layer] = f"{role} (line {loaded.where(*place)[1]})"

    if codes is not None:
        add(codes.file, "the table of codes", "codes", "file")
    if sessions is not None:
        add(sessions.file, "the table of sessions", "sessions", "file")
    if site is not None:
        add(site.marks, "the file of the site's marks", "target", "site", "marks")
    if control is not None:
        add(control.file, "the register", "control", "file", layer=control.layer)
    return found


@contextmanager
def _part(name: Part, faulty: set[Part], problems: Problems) -> Iterator[None]:
    """Add the name of a part to those that are ``faulty`` where problems are noted while it is loaded."""
    before = len(problems.found)
    yield
    if len(problems.found) > before:
        faulty.add(name)


def _of_usable(carried: tuple[FieldWindow, ...], exports: list[Export], sound: set[int]) -> tuple[FieldWindow, ...]:
    """Return field shifts with the numbers that their exports have among those that can be placed."""
    numbers = {old: new for new, old in enumerate(n for n, export in enumerate(exports) if export.block in sound)}
    return tuple(
        replace(one, exports=None if one.exports is None else tuple(numbers[n] for n in one.exports if n in numbers))
        for one in carried
    )


def prepare_control(loaded: LoadedJob, problems: Problems) -> Prepared:
    """Load the register that a job file names, and nothing that is there only after the field.

    Everything that is wrong goes to ``problems``.
    """
    _check_folder(loaded, problems)
    _check_frames(loaded, problems)
    return Prepared(
        loaded=loaded, windows=(), register=_register(loaded, problems), exports=(), site=_site(loaded, problems)
    )


def owner(loaded: LoadedJob) -> Owner:
    """Return whose a folder is that a job file names."""
    return Owner(loaded.job.job.name, loaded.path)


def own_folder(loaded: LoadedJob) -> Path:
    """Return the folder of a job. Raises `JobError` where it is another's, or has what is somebody else's."""
    problems = Problems()
    _check_folder(loaded, problems)
    problems.raise_if_any()
    return loaded.job.job.folder


def _check_folder(loaded: LoadedJob, problems: Problems) -> None:
    """Refuse a folder that is another job's, or has files of somebody else's where a run keeps its own."""
    for what, fix in in_the_way(loaded.job.job.folder, owner(loaded), loaded.show):
        problems.add(*loaded.where("job", "folder"), what, fix)


def _sessions(loaded: LoadedJob, problems: Problems) -> tuple[tuple[SessionWindow, ...], str]:
    """Load the sessions; return with them the sum of the table that they stand in, if they do."""
    file = loaded.job.sessions.file if loaded.job.sessions is not None else None
    try:
        before = (signature(file), digest(file)) if file is not None else None
        windows = load_sessions(loaded, problems)
        after = (signature(file), digest(file)) if file is not None else None
    except OSError:  # it cannot be read, and says so
        return load_sessions(loaded, problems), ""
    if file is not None and before != after:
        problems.add(loaded.show(file), 0, "the file changed while it was being read", "run the job again")
    return windows, before[1] if before is not None else ""


def _check_frames(loaded: LoadedJob, problems: Problems) -> set[int]:
    """Check every CRS of the job, and that each block's columns go with its CRS; return those that can be placed."""
    sound = set()
    target = loaded.job.target
    for key, check, text in (("grid", crs.target_grid, target.grid), ("height", crs.vertical_of, target.height)):
        try:
            check(text)
        except OperationError as error:
            problems.add(*loaded.where("target", key), error.what, error.fix)
    for number, block in enumerate(loaded.job.points):
        try:
            source = crs.source_crs(block.crs or "")
        except OperationError as error:
            problems.add(*loaded.where("points", number, "crs"), error.what, error.fix)
            continue
        before, kind = len(problems.found), crs.kind_of(source)
        _check_columns(block.columns, kind, loaded.where("points", number, "columns"), problems)
        if len(problems.found) == before:  # readings by other columns would be placed anywhere
            sound.add(number)
        try:
            realised(block.crs or "", block.realisation)
        except OperationError as error:
            sound.discard(number)
            problems.add(*loaded.where("points", number, "realisation"), error.what, error.fix)
        try:
            lengths(block.crs or "", block.units)
        except OperationError as error:
            key = "crs" if block.units is None else "units"
            problems.add(*loaded.where("points", number, key), error.what, error.fix)
    return sound


def _check_columns(columns: Columns, kind: str, where: tuple[str, int], problems: Problems) -> None:
    for of_kind in (POSITION_COLUMNS, BASE_COLUMNS):
        wanted = of_kind[kind]
        others = {name for names in of_kind.values() for name in names} - set(wanted)
        wrong = sorted(name for name in others if getattr(columns, name) is not None)
        if wrong:
            problems.add(
                *where,
                f"the columns {', '.join(wrong)} do not go with a {kind} CRS",
                f"name {', '.join(wanted)} instead, or another crs" if wanted else "leave them out",
            )


def _register(loaded: LoadedJob, problems: Problems) -> Register | None:
    control = loaded.job.control
    if control is None:
        return None
    kind = None
    try:
        kind = crs.kind_of(crs.source_crs(control.crs))
    except OperationError as error:
        problems.add(*loaded.where("control", "crs"), error.what, error.fix)
    try:
        crs.vertical_of(control.height)
    except OperationError as error:
        problems.add(*loaded.where("control", "height"), error.what, error.fix)
        kind = None
    if kind is None:
        return None
    try:
        counted = lengths(control.crs, control.units, control.height)
    except OperationError as error:
        key = "crs" if control.units is None else "units"
        problems.add(*loaded.where("control", key), error.what, error.fix)
        return None
    check_register_units(loaded, counted, problems)
    if not control.file.is_file():
        return None
    frame, form = RegisterFrame(kind, control.height == "ellipsoid", counted), Form.from_control(control)
    register = read_register(control.file, frame, problems, shown=loaded.show(control.file), form=form)
    if register is not None:
        check_units_row(register, counted, control.angles == "dms", problems)
        check_register_geometry(register, control.crs, loaded, problems)
        check_zone_numbers(register, control.crs, problems)
    return register


def _site(loaded: LoadedJob, problems: Problems) -> SiteMarks | None:
    wanted = loaded.job.target.site
    if wanted is None or not wanted.marks.is_file():
        return None
    return read_site_marks(wanted.marks, loaded.show(wanted.marks), problems, heights=wanted.height != "none")


def _codes(loaded: LoadedJob, problems: Problems) -> CodeTable | None:
    """Read the table of codes, and hold what ``[drawing]`` says against it."""
    wanted = loaded.job.codes
    if wanted is None or not wanted.file.is_file():
        return None
    table = read_code_table(wanted.file, loaded.show(wanted.file), problems, form_of(wanted))
    if table is not None:
        check_drawn(loaded.job.drawing, table, partial(loaded.where, "drawing"), problems)
    return table


def _writing(loaded: LoadedJob, table: CodeTable | None, problems: Problems) -> Writing | None:
    """Return how strings are written; None without linework, and where a table of codes that it needs is faulty."""
    job = loaded.job
    if job.linework is None or (job.codes is not None and table is None):
        return None
    return writing_of(job.linework, table, job.checks.codes, partial(loaded.where, "linework"), problems)


def _known_marks(loaded: LoadedJob, register: Register | None) -> set[str]:
    """Return the marks of the register, or where that has problems those that are named in its file."""
    control = loaded.job.control
    if register is not None:
        return set(register.names)
    if control is not None and control.file.is_file():
        return set(listed_marks(control.file, Form.from_control(control)))
    return set()
