"""The scripts of `configs/nightly`, started as cron starts them: with nothing in the environment, from no folder."""

import json
import os
import shutil
import subprocess
import sys
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import pytest
from command import ROOT, SMALL
from simulate import simulate

from pipeline.notify.called import call

NIGHTLY = ROOT / "configs" / "nightly"
pytestmark = pytest.mark.skipif(os.name != "posix", reason="cron, systemd and shell scripts")


def executable(path: Path, text: str) -> Path:
    path.write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
    path.chmod(0o755)
    return path


def test_the_line_of_a_crontab_runs_all_jobs_and_mails_what_changed(tmp_path: Path) -> None:
    """sendmail is stood in for by a script that keeps the mail; of two jobs one is refused."""
    jobs = tmp_path / "the jobs"
    for name in ("good", "broken"):
        shutil.move(simulate(SMALL).write(jobs / name), jobs / f"{name}.toml")
        text = (jobs / f"{name}.toml").read_text(encoding="utf-8")
        text = text.replace('"register.csv"', f'"{name}/register.csv"').replace('"out"', f'"{name}/out"')
        (jobs / f"{name}.toml").write_text(text.replace('"rover', f'"{name}/rover'), encoding="utf-8")
    (jobs / "broken" / "register.csv").unlink()
    tiedown = executable(
        tmp_path / "tiedown", f'PYTHONPATH="{ROOT}" exec "{sys.executable}" -m pipeline.cli.start "$@"'
    )
    executable(tmp_path / "sendmail", f'test "$*" = "-t -i" && cat >> "{tmp_path}/mail"')
    tell = f"TELL='{NIGHTLY / 'tell-by-mail.sh'} office@example.org'"
    named = f"PAGE='{tmp_path}/page.html' JOBS='{jobs}' TIEDOWN={tiedown} {tell}"
    line = f"SENDMAIL={tmp_path}/sendmail {named} {NIGHTLY / 'night.sh'}"
    found = subprocess.run(["env", "-i", "sh", "-c", line], cwd="/", capture_output=True, text=True, check=False)
    assert found.returncode == 3 and "1 problem, nothing written" in found.stderr, found.stderr
    assert "the command" not in found.stderr and "page.html: 2 jobs, 1 needs attention" in found.stdout
    assert "broken.toml" in (tmp_path / "page.html").read_text(encoding="utf-8")
    mail = (tmp_path / "mail").read_text(encoding="utf-8")
    assert mail.count("To: office@example.org\n") == 2
    assert "Subject: simulated: issue 001, verdict PROVEN\n" in mail and "Subject: broken.toml: refused\n" in mail
    assert f"\n{jobs}/good/out/issues/001/simulated-001.html\n" in mail and "the register" in mail


def test_a_chat_gets_a_text_and_a_refusal_is_told(tmp_path: Path) -> None:
    got: list[bytes] = []

    class Chat(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            got.append(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200 if len(got) == 1 else 403)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Chat)
    Thread(target=server.serve_forever, daemon=True).start()
    (tmp_path / "address").write_text(f"http://127.0.0.1:{server.server_port}/in/x\n", encoding="utf-8")
    words = [sys.executable, str(NIGHTLY / "tell-by-chat.py"), "address"]
    said = json.dumps({"subject": "a", "text": "b \u00e9"}).encode()
    assert call(words, tmp_path, {"PATH": os.defpath}, said, 20).well
    refused = call(words, tmp_path, {"PATH": os.defpath}, said, 20)
    server.shutdown()
    assert not refused.well and "403" in refused.output
    assert [json.loads(one) for one in got] == [{"text": "a\nb \u00e9"}] * 2


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not here")
def test_systemd_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    """The script and the user are not there on any other machine: others stand in for them."""
    for unit in ("tiedown-night.service", "tiedown-night.timer"):
        text = (NIGHTLY / unit).read_text(encoding="utf-8")
        text = text.replace("/srv/survey/nightly/night.sh", str(NIGHTLY / "night.sh")).replace("User=survey\n", "")
        (tmp_path / unit).write_text(text, encoding="utf-8")
    words = ["systemd-analyze", "verify", *map(str, sorted(tmp_path.iterdir()))]
    found = subprocess.run(words, capture_output=True, text=True, check=False)
    assert found.returncode == 0 and "tiedown-night" not in found.stderr, found.stderr
