"""No network, ever, and no settings but the job's: what surrounds a run changes nothing of what it issues."""

import json
import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from issued import everything_below
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.problems import JobError
from pipeline.sealed import grid_folders, sealed_off, users_environment

HOME_FILES = {
    ".gdal/gdalrc": "[configoptions]\nOGR_CURRENT_DATE=2001-01-01T00:00:00Z\nGDAL_HTTP_PROXY={url}\nOGR_SQLITE_PRAGMA="
    "page_size=512\nDXF_ENCODING=CP1252\n",
    ".local/share/proj/proj.ini": "[general]\nnetwork = on\ncdn_endpoint = {url}\ntmerc_default_algo = "
    "evenden_snyder\n",
    ".config/ezdxf/ezdxf.ini": "[core]\nwrite_fixed_meta_data_for_testing = maybe\n",
    ".cache/ezdxf/font_manager_cache.json": "no JSON",
}
SETTINGS = {
    "OPENBLAS_NUM_THREADS": "3",
    "PROJ_NETWORK": "ON", "PROJ_NETWORK_ENDPOINT": "{url}", "PROJ_AUX_DB": "{here}/proj.db", "PROJ_DEBUG": "3",
    "PROJ_DATA": "{here}", "PROJ_ONLY_BEST_DEFAULT": "ON", "GDAL_HTTP_PROXY": "{url}", "http_proxy": "{url}",
    "https_proxy": "{url}", "ALL_PROXY": "{url}", "GDAL_SKIP": "GPKG", "GDAL_DRIVER_PATH": "{here}",
    "GDAL_CONFIG_FILE": "{home}/.gdal/gdalrc", "GDAL_DATA": "{here}", "CPL_DEBUG": "ON", "CPL_LOG": "{here}/log",
    "OGR_CURRENT_DATE": "2001-01-01T00:00:00Z", "OGR_SQLITE_PRAGMA": "page_size=512", "OGR_SQLITE_LOAD_EXTENSIONS":
    "{here}/x.so", "DXF_ENCODING": "CP1252", "SPATIALITE_SECURITY": "relaxed", "EZDXF_CONFIG_FILE": "{here}/ezdxf.ini",
    "EZDXF_DISABLE_C_EXT": "1", "TZ": "Asia/Tokyo", "PYTHONHASHSEED": "7", "PYTHONUTF8": "0", "LC_ALL": "C",
}  # fmt: skip


class Listener:
    """A socket on this machine that counts who comes."""

    def __init__(self) -> None:
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        self.came = 0
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        while True:
            try:
                found, _ = self._socket.accept()
            except OSError:
                return
            self.came += 1
            found.close()

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def listener() -> Iterator[Listener]:
    found = Listener()
    yield found
    found.close()


def test_the_listener_counts() -> None:
    with closing(Listener()) as found:
        with socket.create_connection(("127.0.0.1", int(found.url.rpartition(":")[2]))) as caller:
            assert caller.recv(1) == b""
        assert found.came == 1


def hostile(tmp_path: Path, url: str) -> tuple[dict[str, str], Path]:
    """An environment and a working folder in which everything that libraries look at says something else."""
    home, here = tmp_path / "home", tmp_path / "here"
    for name, text in HOME_FILES.items():
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        (home / name).write_text(text.replace("{url}", url))
    here.mkdir()
    for name in ("ezdxf.ini", "proj.ini"):
        shutil.copyfile(home / next(one for one in HOME_FILES if one.endswith(name)), here / name)
    for folder in (here, home / ".local" / "share" / "proj"):
        with closing(sqlite3.connect(folder / "proj.db")) as file:  # who asks it for its version never comes back
            file.execute("CREATE VIEW metadata AS WITH RECURSIVE r(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM r)"
                         " SELECT x AS key, x AS value FROM r")  # fmt: skip
    said = {"url": url, "home": str(home), "here": str(here)}
    settings = {name: value.format(**said) for name, value in SETTINGS.items()}
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "COVERAGE_PROCESS_START") if name in os.environ}
    return {**kept, "HOME": str(home), **settings}, here


def test_a_hostile_environment_home_and_working_folder_change_nothing(tmp_path: Path, listener: Listener) -> None:
    """The same job in this process and in such surroundings: the same bytes, nobody at the socket, nothing at home."""
    job = simulate(Plan(sessions=1, points=20))
    job.job["issue"] = {"formats": ["gpkg", "dxf", "csv", "geojson", "landxml"]}
    paths = [job.write(tmp_path / "one", "gpkg"), tmp_path / "other" / "job.toml"]
    shutil.copytree(tmp_path / "one", tmp_path / "other")
    assert run_job(paths[0]).issued
    environment, here = hostile(tmp_path, listener.url)
    before = everything_below(tmp_path / "home")
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli.main", "run", str(paths[1])],
        env={**environment, "PYTHONPATH": str(Path(__file__).resolve().parents[2])},
        cwd=here, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    first, second = (everything_below(path.parent / "out" / "issues") for path in paths)
    assert first == second and len(first) >= 7
    assert listener.came == 0
    assert everything_below(tmp_path / "home") == before and not (here / "log").exists()


LINKS = {
    "a crs of type url": '{"type": "url", "properties": {"url": "URL/crs"}}',
    "a crs of type link": '{"type": "link", "properties": {"href": "URL/crs", "type": "proj4"}}',
    "a crs of type EPSG at an address": '{"type": "EPSG", "properties": {"code": "URL/4959"}}',
    "a name that is an address": '{"type": "name", "properties": {"name": "URL/crs"}}',
    "a name of init files": '{"type": "name", "properties": {"name": "+init=URL/epsg:4959"}}',
}


@pytest.mark.parametrize("name", LINKS)
def test_a_geojson_that_links_to_its_crs_is_refused_without_a_request(
    tmp_path: Path, listener: Listener, name: str
) -> None:
    path = simulate(Plan(sessions=1, points=5)).write(tmp_path, "geojson")
    crs = LINKS[name].replace("URL", listener.url)
    replace_in(tmp_path / "rover001.geojson", {'"FeatureCollection", ': f'"FeatureCollection", "crs": {crs}, '})
    with pytest.raises(JobError, match="names an unknown CRS"):
        run_job(path, dry_run=True)
    assert listener.came == 0


@pytest.mark.parametrize(
    ("there", "instead"),
    [
        ('crs = "EPSG:4959"', 'crs = "URL/4959.wkt"'),
        ('crs = "EPSG:4959"', 'crs = "/vsicurl/URL/4959.wkt"'),
        ('crs = "EPSG:4959"', 'crs = "+proj=longlat +ellps=GRS80 +nadgrids=URL/x.tif +type=crs"'),
        ('crs = "EPSG:4959"', 'crs = "+init=URL/epsg:4959 +type=crs"'),
        ('grid = "EPSG:2193"', 'grid = "URL/2193"'),
        ('height = "EPSG:5773"', 'height = "URL/5773"'),
        ('geoid = "', 'geoid = "/vsicurl/URL/'),
        ('file = "register.csv"', 'file = "URL/register.csv"'),
        ('file = "register.csv"', 'file = "/vsizip//vsicurl/URL/register.zip/register.csv"'),
        ('files = ["rover*.csv"]', 'files = ["/vsicurl/URL/rover.csv"]'),
        ('files = ["rover*.csv"]', 'files = ["URL/rover.gpkg"]'),
        ('files = ["rover*.csv"]', 'files = ["/vsistdin/rover.csv"]'),
    ],
)
def test_a_job_file_that_names_an_address_is_refused_without_a_request(
    tmp_path: Path, listener: Listener, there: str, instead: str
) -> None:
    path = simulate(Plan(sessions=1, points=5)).write(tmp_path)
    text = path.read_text()
    assert there in text
    path.write_text(text.replace(there, instead.replace("URL", listener.url), 1))
    with pytest.raises(JobError):
        run_job(path, dry_run=True)
    assert listener.came == 0


OTHERS = {
    "virtual": '<OGRVRTDataSource><OGRVRTLayer name="points"><SrcDataSource>URL/x.csv</SrcDataSource></OGRVRTLayer>'
    "</OGRVRTDataSource>",
    "virtual raster": "<VRTDataset rasterXSize='1' rasterYSize='1'><VRTRasterBand><SimpleSource><SourceFilename>"
    "/vsicurl/URL/x.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>",
    "feature service": "<OGRWFSDataSource><URL>URL/wfs</URL></OGRWFSDataSource>",
    "its address": "WFS:URL/wfs",
    "another service": '{"currentVersion": 10.1, "url": "URL/FeatureServer/0"}',
    "a pipeline": '{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read URL/x.gpkg"}',
    "topology": '{"type": "Topology", "objects": {}, "href": "URL"}',
}


@pytest.mark.parametrize("ending", ["csv", "geojson", "gpkg"])
@pytest.mark.parametrize("name", OTHERS)
def test_a_file_that_is_another_formats_is_refused_without_a_request(
    tmp_path: Path, listener: Listener, name: str, ending: str
) -> None:
    """As an export and as the register."""
    path = simulate(Plan(sessions=1, points=5)).write(tmp_path, ending)
    data = OTHERS[name].replace("URL", listener.url)
    (tmp_path / f"rover001.{ending}").write_text(data)
    with pytest.raises(JobError, match=f"rover001.{ending}"):
        run_job(path, dry_run=True)
    (tmp_path / f"register.{ending}").write_text(data)
    replace_in(path, {'file = "register.csv"': f'file = "register.{ending}"'})
    with pytest.raises(JobError, match=f"register.{ending}"):
        run_job(path, dry_run=True)
    assert listener.came == 0


def test_the_environment_is_put_back_and_threads_share_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROJ_NETWORK", "ON")
    monkeypatch.setenv("PROJ_DATA", "/grids")
    monkeypatch.setenv("CPL_DEBUG", "ON")
    before = dict(os.environ)
    with sealed_off():
        assert os.environ["PROJ_NETWORK"] == "OFF" and "CPL_DEBUG" not in os.environ
        with sealed_off():
            assert grid_folders() == "/grids" and "PROJ_DATA" not in os.environ
        code = (
            "from pipeline.sealed import grid_folders, sealed_off\nprint(grid_folders())\n"
            "with sealed_off(): print(grid_folders())"
        )
        child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert child.stdout.split() == ["/grids", "/grids"]
    assert dict(os.environ) == before and grid_folders() == "/grids"


def test_no_thread_hides_the_database_from_the_gdal_of_another(tmp_path: Path) -> None:
    """What compiled code sees, and a program that is started: one folder throughout, and after it what was there."""
    code = """
import os, subprocess, sys
from pathlib import Path
from pipeline.files.gdal import fiona_at_home, gdal
from pipeline.sealed import sealed_off
def seen():
    told = subprocess.run([sys.executable, "-c", "import os; print(os.environ.get('PROJ_DATA'))"], capture_output=True)
    return told.stdout.decode().strip()
for _ in range(2):
    with sealed_off():
        own = str(Path(gdal().__file__).with_name("proj_data"))
        with fiona_at_home() as fiona:
            gdal()
            assert seen() == own, seen()
            assert "PROJ_DATA" not in os.environ
            assert "New Zealand" in fiona.crs.CRS.from_epsg(2193).to_wkt()
        assert seen() == own, seen()
    assert seen() == os.environ["PROJ_DATA"] == "/grids", seen()
"""
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | {"PROJ_DATA": "/grids"}, cwd=tmp_path, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_gdal_of_both_wheels_takes_our_settings(tmp_path: Path) -> None:
    """A variable of the environment says nothing to them, and no file of the web has a name."""
    code = """
import json, os
from pipeline.sealed import sealed_off
with sealed_off():
    from pipeline.files.gdal import fiona_at_home, gdal
    told = [gdal().get_gdal_config_option(name) for name in ("DXF_ENCODING", "CPL_VSIL_CURL_ALLOWED_FILENAME")]
    with fiona_at_home() as fiona:
        from fiona._env import get_gdal_config
        told += [get_gdal_config(name) for name in ("DXF_ENCODING", "CPL_VSIL_CURL_ALLOWED_FILENAME")]
print(json.dumps(told))
"""
    environment = os.environ | {
        "DXF_ENCODING": "CP1252",
        "CPL_VSIL_CURL_ALLOWED_FILENAME": "all",
        "HOME": str(tmp_path),
    }
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == [None, "none", None, "none"]


@pytest.mark.parametrize("theirs", ["3", None])
def test_the_users_own_commands_have_their_threads(theirs: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    if theirs is not None:
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", theirs)
    with sealed_off():
        assert os.environ["OPENBLAS_NUM_THREADS"] == "1"
        assert users_environment().get("OPENBLAS_NUM_THREADS") == theirs
    assert os.environ.get("OPENBLAS_NUM_THREADS") == theirs
