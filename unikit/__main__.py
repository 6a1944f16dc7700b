"""Commands, each after ``python -m unikit``: ``review``, ``ride``, ``datasheet``, ``log`` and ``lab``; ``-h`` says what each takes."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from . import __version__

if TYPE_CHECKING:
    from .studies.results import Result

START = Path("notebooks") / "00_start_here.ipynb"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it did its work, 2 when an input could not be read, 130 when it was stopped."""
    parser = argparse.ArgumentParser(prog="python -m unikit", description=__doc__)
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(dest="command", required=True)
    review = commands.add_parser("review", help="print the findings of a build; a short finding is no error")
    review.add_argument("build", help="build file (TOML)")
    review.add_argument("--cases", help="a case file or a folder of them; default: those beside the build, or the project's own")
    review.add_argument("--rules", help="area whose local rule the review compares with; a wrong word lists the areas")
    review.add_argument("--csv", help="also write the findings as a CSV file, which must not exist yet")
    sheet = commands.add_parser("datasheet", help="print what a datasheet says of a motor, what follows from it and what is assumed")
    sheet.add_argument("sheet", help="datasheet file (TOML)")
    sheet.add_argument("--into", help="build file whose wheel the motor must fit, and into which it goes")
    sheet.add_argument("--save", help="write that build with the motor in it to this file, which must not exist yet")
    sheet.add_argument("--leave-out", action="append", default=[], metavar="FIELD", help="a field not to believe; may be repeated")
    log = commands.add_parser("log", help="print the accounts of a ride log, and what was repaired in it")
    log.add_argument("log", help="table of the log (CSV)")
    log.add_argument("mapping", help="mapping file that declares its columns (TOML)")
    cut = log.add_mutually_exclusive_group()
    cut.add_argument("--time", help="cut it into stretches of this time; default: 60 s")
    cut.add_argument("--length", help="cut it into stretches of this length of road instead, such as '500 m'")
    log.add_argument("--csv", help="also write the stretches as a CSV file, which must not exist yet")
    ride = commands.add_parser("ride", help="ride a build along a route and print energy by cause, leg share, range and what was narrowest")
    ride.add_argument("build", help="build file (TOML)")
    ride.add_argument("case", help="case file (TOML): charge, wind, air, trim and pace")
    ride.add_argument("route", help="route: a recording (.gpx), a table (.csv) or a made-up one (.toml)")
    ride.add_argument("--columns", help="file that declares the columns of a table")
    ride.add_argument("--back", action="store_true", help="ride the same road back, too")
    ride.add_argument("--legs-alone", action="store_true", help="as if the electronics had failed at the start")
    ride.add_argument("--draws", type=int, default=0, metavar="N", help="also draw what is uncertain N times: the probability of arriving")
    ride.add_argument("--csv", help="also write the course over the distance as a CSV file, which must not exist yet")
    lab = commands.add_parser("lab", help="open the notebooks in JupyterLab")
    lab.add_argument("notebook", nargs="?", help="notebook to open; default: the first one")
    chosen = parser.parse_args(arguments)
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # a terminal without "·" or "°" shows a question mark
    if chosen.command == "review":
        return _review(chosen.build, chosen.cases, chosen.rules, chosen.csv)
    if chosen.command == "datasheet":
        return _datasheet(chosen.sheet, chosen.into, chosen.save, chosen.leave_out)
    if chosen.command == "ride":
        return _ride(chosen)
    if chosen.command == "log":
        return _log(chosen.log, chosen.mapping, chosen.time or ("" if chosen.length else "60 s"), chosen.length, chosen.csv)
    return _lab(chosen.notebook)


def _ride(asked: argparse.Namespace) -> int:
    """Ride along a route and print it; long work tells how far it is, and Ctrl+C ends it without a trace of an answer."""
    from .inputs import InputError, load_build, load_case, load_route, there_and_back
    from .studies import journey, outlook

    found = []
    try:
        build, case = load_build(asked.build), load_case(asked.case)
        route = load_route(asked.route, asked.columns)
        route = there_and_back(route) if asked.back else route
        if asked.legs_alone and asked.draws:
            raise ValueError("--draws asks whether the packs last: leave --legs-alone out")
        found.append(journey.study(build, case, route, powered=not asked.legs_alone, progress=_Progress("riding")))
        if asked.draws:
            found.append(outlook.study(build, case, route, count=asked.draws, progress=_Progress("drawing")))
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    except ValueError as error:
        print(f"{asked.build}: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nstopped: nothing was computed to its end, nothing was written", file=sys.stderr)
        return 130
    for result in found:
        lines = result.summary()
        width = max(map(len, lines))
        _say("\n".join(f"{label:<{width}}  {text}" for label, text in lines.items()))
    return _write_csv(found[0], asked.csv)


class _Progress:
    """Says on the error stream how far a work is, once it has lasted a while."""

    PATIENCE, PAUSE = 2.0, 0.5  # s before the first word, and between words

    def __init__(self, what: str) -> None:
        self.what, self.next, self.spoke = what, time.monotonic() + self.PATIENCE, False

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        if now >= self.next or (self.spoke and share >= 1):
            self.next, self.spoke = now + self.PAUSE, True
            print(f"\r{self.what}: {100 * share:3.0f} %", end="\n" if share >= 1 else "", file=sys.stderr, flush=True)


def _datasheet(path: str, build_path: str | None, save_path: str | None, leave_out: Sequence[str]) -> int:
    """Print the reading of a datasheet, and write a build with its motor; contradictions are errors, one line each."""
    from .inputs import load_build, load_datasheet, save_build
    from .studies import datasheet

    try:
        if save_path and not build_path:
            raise ValueError("--save writes a build: name the one it begins with, by --into")
        build = load_build(build_path) if build_path else None
        reading = datasheet.study(load_datasheet(path), build.wheel if build else None, leave_out)
        reading.part()
        _say(datasheet.page(reading))
        if save_path:
            save_build(datasheet.fitted(build, reading), save_path)
    except ValueError as error:
        print("\n".join(line if line.startswith(path) else f"{path}: {line}" for line in str(error).splitlines()), file=sys.stderr)
        return 2
    return 0


def _review(build_path: str, cases_path: str | None, rules: str | None, csv_path: str | None) -> int:
    """Print the review; every unreadable input ends in one plain message."""
    from .inputs import InputError, load_build, load_case, load_cases, replace

    try:
        build = load_build(build_path)
        if cases_path and Path(cases_path).is_file():
            cases = [load_case(cases_path)]
        else:
            cases = load_cases(cases_path or _cases_near(Path(build_path).resolve()))
        if rules:
            cases = [replace(case, {"rules": rules}) for case in cases]
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    from .studies.review import review

    try:
        found = review(build, cases)
    except ValueError as error:
        print(f"{build_path}: {error}", file=sys.stderr)
        return 2
    _say(found)
    return _write_csv(found, csv_path)


def _say(text: object) -> None:
    """Print an answer."""
    try:
        print(text, flush=True)
    except BrokenPipeError:  # the reader of a pipe, such as head, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _write_csv(found: Result, path: str | None) -> int:
    """Write the table of a result where it was asked for, never over a file."""
    if path:
        text = found.table().to_csv(index=False, lineterminator="\n")
        try:
            with open(path, "x", encoding="utf-8", newline="") as handle:
                handle.write(text)
        except OSError as error:
            print(f"{path}: not written: {error.strerror or error}", file=sys.stderr)
            return 2
    return 0


def _log(log: str, mapping: str, span: str, length: str | None, csv_path: str | None) -> int:
    """Print the accounts of a ride log; long reading tells how far it is."""
    from . import units
    from .studies import ride_accounts, stretches

    try:
        by = {"length": units.parse(length, "length")} if length else {"time": units.parse(span, "time")}
        found = ride_accounts.study(*stretches.stretches_of(log, mapping, **by, progress=_Progress("reading")))
    except units.UnitError as error:
        print(f"--{'length' if length else 'time'}: {error}", file=sys.stderr)
        return 2
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nstopped: nothing was written", file=sys.stderr)
        return 130
    _say(found.page())
    return _write_csv(found, csv_path)


def _cases_near(build: Path) -> Path:
    """The cases that belong to a build: beside its folder, or those of the project it lies in or is reviewed from."""
    folders = [build.parent.parent / "cases", build.parent / "cases", build.parent.parent / "data" / "cases", Path("data") / "cases"]
    found = next((folder for folder in folders if folder.is_dir()), None)
    if found is None:
        from .inputs import InputError, Problem

        expected = "a folder 'cases' beside the build's folder, or one named with --cases"
        raise InputError([Problem(file=str(build), field="cases", value="", expected=expected, found="none")])
    return found


def _lab(notebook: str | None) -> int:
    """Open JupyterLab on the first notebook; without a display it prints the address instead."""
    target = Path(notebook) if notebook else Path.cwd() / START
    if not target.is_file():
        print(f"{target}: no such notebook; run this from the project's folder or name one", file=sys.stderr)
        return 2
    # The notebook is named in the address itself, so that an address printed for another window opens it too.
    target = target.resolve()
    command = [sys.executable, "-m", "jupyterlab", "--ServerApp.ip=127.0.0.1", f"--ServerApp.root_dir={target.parent}"]
    command += [f"--LabApp.default_url=/lab/tree/{quote(target.name)}"]
    command += ["--LabApp.news_url=None", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate"]
    if not _has_display():
        command.append("--no-browser")
        print("No display found: open the address that JupyterLab prints below in a browser.", flush=True)
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
        print("Running as root: JupyterLab listens on this machine only; better use an ordinary account.", flush=True)
    try:
        return subprocess.call(command)
    except KeyboardInterrupt:
        return 0


def _has_display() -> bool:
    """Whether a browser window can appear here."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


if __name__ == "__main__":
    sys.exit(main())
