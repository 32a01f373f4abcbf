"""Runs many jobs on two hosts of a network made for it, and cuts one off while it works. Run by hand, as root.

    python tests/cluster/two_hosts.py [--jobs 150] [--after 3]

The hosts are two network namespaces of this machine (Linux, iproute2), each with a Dask worker of its own, on one file
system. One is cut off so many seconds after the command has begun. Every job must then have been issued once, whichever
host had it in hand: the scheduler takes a host for lost only when its connection times out, half a minute later.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "benchmarks")]

from batch import lay_out  # noqa: E402  (found on the path set above)

#: Name and address of each, in a network that nothing else is in.
HOSTS = {"tiedown-one": "10.77.0.1", "tiedown-two": "10.77.0.2"}
ONE, TWO = HOSTS
SCHEDULER = f"tcp://{HOSTS[ONE]}:8786"
#: Seconds that scheduler and workers have to find each other.
_TO_MEET = 10.0


def ip(*asked: str) -> None:
    """Ask for something of the network. Raises CalledProcessError."""
    subprocess.run(["ip", *asked], check=True)


@contextmanager
def hosts() -> Iterator[None]:
    """Two hosts with a cable between them."""
    try:
        for name in HOSTS:
            ip("netns", "add", name)
        ip("link", "add", "one", "netns", ONE, "type", "veth", "peer", "name", "two", "netns", TWO)
        for (name, address), cable in zip(HOSTS.items(), ("one", "two"), strict=True):
            ip("-n", name, "addr", "add", f"{address}/24", "dev", cable)
            ip("-n", name, "link", "set", "lo", "up")
            ip("-n", name, "link", "set", cable, "up")
        yield
    finally:
        for name in HOSTS:
            with suppress(subprocess.CalledProcessError):
                ip("netns", "del", name)


@contextmanager
def on(host: str, *command: str, heard: bool = False) -> Iterator["subprocess.Popen[str]"]:
    """A module of this interpreter's run on a host; ended on leaving."""
    program = ["ip", "netns", "exec", host, sys.executable, "-m", *command]
    told = subprocess.PIPE if heard else subprocess.DEVNULL
    with subprocess.Popen(program, stdout=told, stderr=subprocess.STDOUT, text=True) as running:
        try:
            yield running
        finally:
            running.terminate()


def issued(place: Path, after: float) -> str:
    """Run the jobs of a folder on both hosts, cut one off meanwhile, and return the last line of what was said."""
    scheduler, worker = "distributed.cli.dask_scheduler", "distributed.cli.dask_worker"
    with hosts(), ExitStack() as stack:
        stack.enter_context(on(ONE, scheduler, "--host", HOSTS[ONE], "--no-dashboard"))
        for name, address in HOSTS.items():
            stack.enter_context(on(name, worker, SCHEDULER, "--host", address, "--nthreads", "1", "--no-dashboard"))
        time.sleep(_TO_MEET)
        jobs = sorted(str(job) for job in place.glob("*/job.toml"))
        run = ("pipeline.cli.start", "run", *jobs, "--cluster", SCHEDULER)
        command = stack.enter_context(on(ONE, *run, heard=True))
        time.sleep(after)
        ip("-n", TWO, "link", "set", "two", "down")
        print(f"cut off after {after} s, with {sum(1 for _ in place.glob('*/out/issues/001'))} jobs issued")
        said, _ = command.communicate(timeout=600)
    return said.strip().splitlines()[-1]


def main() -> None:
    """Lay the jobs out, run them, and say how often each was issued. Raises SystemExit unless once."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--jobs", type=int, default=150)
    options.add_argument("--after", type=float, default=3.0)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        lay_out(place, asked.jobs, 500)
        start = time.perf_counter()
        print(f"{issued(place, asked.after)}, {time.perf_counter() - start:.0f} s with both hosts made and ended")
        counts = [sum(1 for _ in job.parent.glob("out/issues/*")) for job in place.glob("*/job.toml")]
    if counts != [1] * asked.jobs:
        raise SystemExit(f"not every job was issued once: {counts}")


if __name__ == "__main__":
    main()
