"""Tables of the wings that name their section: worked out once, read by budget, map and tie."""

from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path

from tuftwork.aeromap.part import LatticeWing, part_models
from tuftwork.car import Project, WingPart, WingSection, parts_in_state
from tuftwork.errors import Fault, FileFault, NotCovered
from tuftwork.files.section import read_section
from tuftwork.section import Contour, Flap, Stack, assemble, naca
from tuftwork.section.design import Design
from tuftwork.study.inputs import state_names
from tuftwork.study.job import TABLES, Job
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree
from tuftwork.wing.bank import wing_bank

_VERSION = 1


def outline_named(text: str, folder: Path | None) -> Contour:
    """Return the outline a project names: a NACA section, or a file in ``evidence/``.

    Raises
    ------
    InputError
        If the digits name no section, or the outline is none.
    FileFault
        If there is no such file, or it lies outside the project.
    """
    if text.strip().upper().startswith("NACA") or text.strip().isdigit():
        return naca(text)
    if folder is None:
        raise NotCovered(f"The outline '{text}' lies in a project folder, and there is none here.")
    root = (folder / "evidence").resolve()
    path = (root / text.removeprefix("evidence/")).resolve()
    if not path.is_relative_to(root):
        raise FileFault([Fault(what="the outline lies outside evidence/", file=text)])
    return read_section(path)


def design_of(section: WingSection, folder: Path | None) -> Design:
    """Return a section's elements with their handles, at best values."""
    flaps = tuple(
        Flap(
            contour=outline_named(flap.outline, folder),
            chord=flap.chord.best,
            deflection=flap.deflection.best,
            gap=flap.gap.best,
            overlap=flap.overlap.best,
        )
        for flap in section.flaps
    )
    return Design(main=outline_named(section.outline, folder), flaps=flaps)


def stack_of(section: WingSection, folder: Path | None) -> Stack:
    """Return a section's elements in place."""
    design = design_of(section, folder)
    return assemble(design.main, design.flaps)


def section_parts(project: Project) -> dict[str, tuple[LatticeWing, WingSection]]:
    """Return every wing with a section in every state, by the key of its tables."""
    found: dict[str, tuple[LatticeWing, WingSection]] = {}
    if not any(isinstance(p, WingPart) and p.section is not None for p in project.parts):
        return found
    for name in state_names(project):
        state = name if project.states else ""
        sections = {
            p.name: p.section
            for p in parts_in_state(project, project.state(state))
            if isinstance(p, WingPart) and p.section is not None
        }
        for model in part_models(project, state):
            if isinstance(model, LatticeWing):
                found.setdefault(model.spec.key, (model, sections[model.name]))
    return found


def table_steps(job: Job) -> list[Step]:
    """Return the step of the tables; none where no wing names its section."""
    parts = section_parts(job.project)
    if not parts:
        return []
    outlines = {o for _, section in parts.values() for o in _outlines(section)}

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        made: dict[str, Tree] = {}
        for k, (key, (model, section)) in enumerate(parts.items()):

            def beat(share: float, k: int = k) -> None:
                pulse.beat((k + share) / len(parts))

            made[key] = wing_bank(model.spec, stack_of(section, job.folder), beat).tree()
        return made

    inputs = {
        "keys": sorted(parts),
        "outlines": {o: _digest(o, job.folder) for o in sorted(outlines)},
    }
    return [
        Step(
            name=TABLES, title="Sections: polars and the wing's tables", inputs=inputs, needs=(),
            work=work, version=_VERSION, weight=6.0 * len(parts),
        )
    ]  # fmt: skip


def _outlines(section: WingSection) -> Sequence[str]:
    return [section.outline, *(flap.outline for flap in section.flaps)]


def _digest(text: str, folder: Path | None) -> str:
    """Return the digest of an outline's file, nothing for digits or where there is no file."""
    if folder is None:
        return ""
    path = folder / "evidence" / text.removeprefix("evidence/")
    return sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
