"""Run notebooks and write them back without the fields that change from run to run.

``python -m unikit.lab.renew`` renews all of ``notebooks/``; paths choose some.
A second run gives the same bytes, so that a difference in the repository is a
difference in what a cell says.  ``--check`` writes nothing and names what would
change.  Outputs are kept: a stripped notebook would compare nothing.
"""

from __future__ import annotations

import argparse
import base64
import io
import itertools
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import nbformat

from .lesson import KERNELSPEC
from .report import write

FOLDER = Path("notebooks")
SECONDS = 120  # for one cell, as in the tests
COLOURS = 256
WIDGET_VIEW = "application/vnd.jupyter.widget-view+json"
OF_A_RUN = ("execution", "ExecuteTime", "collapsed", "scrolled")  # metadata of a cell that a front end leaves behind


class CellFailed(Exception):
    """A cell raised, ran too long or lost its kernel; the text says which cell and how it ended."""


def renewed(path: Path, seconds: int = SECONDS) -> bytes:
    """A notebook's file as it is after a run in its own folder; the file itself is only read."""
    notebook = nbformat.read(path, as_version=4)
    run(notebook, path.resolve().parent, seconds)
    normalise(notebook)
    nbformat.validate(notebook)
    return (nbformat.writes(notebook) + "\n").encode()


def run(notebook: Any, folder: Path, seconds: int = SECONDS) -> None:
    """Run all cells in this Python, whatever kernels are installed beside it."""
    from ipykernel.kernelspec import RESOURCES, get_kernel_dict
    from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError
    from traitlets import default

    class OnlyKernel(KernelSpecManager):
        def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
            return KernelSpec(resource_dir=RESOURCES, **get_kernel_dict())

    class ThisPython(AsyncKernelManager):
        @default("kernel_spec_manager")
        def _only_kernel(self) -> KernelSpecManager:
            return OnlyKernel(parent=self)

    started: list[int] = []
    client = NotebookClient(
        notebook,
        kernel_manager_class=ThisPython,
        kernel_name=KERNELSPEC["name"],
        timeout=seconds,
        store_widget_state=False,
        record_timing=False,
        resources={"metadata": {"path": str(folder)}},
        on_cell_start=lambda cell, cell_index: started.append(cell_index + 1),
    )
    try:
        client.execute(stderr=subprocess.DEVNULL)  # the kernel's own log; what cells write to stderr is an output
    except CellExecutionError as error:
        said = f"{error.ename}: {(error.evalue.strip().splitlines() or [''])[-1]}"
    except CellTimeoutError:
        said = f"still running after {seconds} s"
    except DeadKernelError:
        said = "the kernel died"
    else:
        return
    raise CellFailed(f"cell {started[-1] if started else 0} of {len(notebook.cells)}: {said}")


def normalise(notebook: Any) -> None:
    """Take out what differs between two runs or two front ends, and nothing that a cell says."""
    notebook.nbformat, notebook.nbformat_minor = 4, 5
    notebook.metadata.pop("widgets", None)
    notebook.metadata.pop("language_info", None)
    notebook.metadata["kernelspec"] = dict(KERNELSPEC)
    for number, cell in enumerate(notebook.cells):
        cell["id"] = f"c{number}"
        for name in OF_A_RUN:
            cell.metadata.pop(name, None)
        if cell.cell_type != "code":
            continue
        cell["outputs"] = list(_joined(cell.outputs))
        for output in cell.outputs:
            data = output.get("data", {})
            data.pop(WIDGET_VIEW, None)
            if "image/png" in data:
                data["image/png"] = smaller(data["image/png"])


def _joined(outputs: list[Any]) -> Iterator[Any]:
    """Outputs with each run of streams as one stdout and one stderr: where and how they are cut depends on timing."""
    for are_streams, group in itertools.groupby(outputs, lambda output: output.output_type == "stream"):
        if not are_streams:
            yield from group
            continue
        pieces = list(group)
        for name in ("stdout", "stderr"):
            text = "".join(piece.text for piece in pieces if piece.name == name)
            if text:
                yield nbformat.v4.new_output("stream", name=name, text=text)


def smaller(encoded: str) -> str:
    """A PNG, in base64 as notebooks hold it, with few colours where it is opaque; the given one if that is smaller."""
    from PIL import Image

    given = base64.b64decode(encoded)
    image = Image.open(io.BytesIO(given)).convert("RGBA")
    if image.getextrema()[3][0] == 255:
        image = image.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    stream = io.BytesIO()
    image.save(stream, "PNG", optimize=True)
    return base64.b64encode(min(stream.getvalue(), given, key=len)).decode()


def differences(before: bytes, after: bytes) -> list[str]:
    """The parts of a notebook that differ between two states of its file, in words."""
    if before == after:
        return []
    old, new = (nbformat.reads(text.decode(), as_version=4) for text in (before, after))
    found = [f"notebook {name}" for name in ("metadata", "nbformat_minor") if old[name] != new[name]]
    for number, (one, other) in enumerate(zip(old.cells, new.cells, strict=True), 1):
        parts = [name.replace("_", " ") for name in sorted({*one, *other}) if one.get(name) != other.get(name)]
        if parts:
            found.append(f"cell {number} ({', '.join(parts)})")
    return found or ["layout of the file"]


def renew(path: Path, check: bool = False, seconds: int = SECONDS) -> list[str]:
    """Renew one notebook; the answer names what changed, or with ``check`` would change."""
    before = path.read_bytes()
    after = renewed(path, seconds)
    changed = differences(before, after)
    if changed and not check:
        if path.read_bytes() != before:
            raise CellFailed("edited while it ran; left as it is")
        write(path, after, overwrite=True)
    return changed


def notebooks(paths: Sequence[Path]) -> list[Path]:
    """The notebooks among the paths and in the folders among them."""
    found: list[Path] = []
    for path in paths:
        found += sorted(path.glob("*.ipynb")) if path.is_dir() else [path]
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Renew notebooks; 1 when one failed or, with ``--check``, would change; 2 when there are none."""
    parser = argparse.ArgumentParser(prog="python -m unikit.lab.renew", description="Run notebooks and write them back normalised.")
    parser.add_argument("paths", nargs="*", type=Path, default=[FOLDER], help="notebooks, or folders of them; default: notebooks/")
    parser.add_argument("--check", action="store_true", help="write nothing; name what would change")
    parser.add_argument("--seconds", type=int, default=SECONDS, help=f"time for one cell, default {SECONDS}")
    chosen = parser.parse_args(arguments)
    found = notebooks(chosen.paths)
    if not found:
        print(f"no notebooks in {', '.join(map(str, chosen.paths))}", file=sys.stderr)
        return 2
    wrong = False
    for path in found:
        try:
            changed = renew(path, chosen.check, chosen.seconds)
        except (CellFailed, OSError, ValueError, nbformat.ValidationError) as error:
            print(f"{path}: {(str(error).strip() or type(error).__name__).splitlines()[-1]}", file=sys.stderr)
            wrong = True
            continue
        wrong |= chosen.check and bool(changed)
        said = f"{'would change' if chosen.check else 'renewed'}: {', '.join(changed)}" if changed else "as it was"
        print(f"{path}: {said}", flush=True)
    return int(wrong)


if __name__ == "__main__":
    sys.exit(main())
