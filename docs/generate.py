"""Pages that come from the program itself, so that they cannot drift from it.

``python docs/generate.py`` rewrites them; a house test fails when a committed page differs.
"""

import json
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

STATES = {
    "passed": "agrees",
    "missed": "misses, as stated",
    "skipped": "not run",
    "failed": "FAILS",
}


def write_generated_pages(docs: Path) -> None:
    """Write every generated page whose text changed."""
    for name, text in generated_pages(docs).items():
        page = docs / name
        if not page.exists() or page.read_text(encoding="utf-8") != text:
            page.write_text(text, encoding="utf-8")
    readme = docs.parent / "README.md"
    text = readme_with_table(docs)
    if readme.read_text(encoding="utf-8") != text:
        readme.write_text(text, encoding="utf-8")


def generated_pages(docs: Path) -> dict[str, str]:
    """Return path → text of every generated page."""
    makers: dict[str, Callable[[Path], str]] = {
        "checks/index.md": checks_page,
        "reference/commands.md": commands_page,
        "reference/project-file.md": key_page_text,
        "reference/bibliography.md": bibliography_page,
    }
    return {name: make(docs) for name, make in makers.items()}


def key_page_text(docs: Path) -> str:
    """Return the page of the project file's keys."""
    from tuftwork.files import key_page

    return key_page()


def checks_page(docs: Path) -> str:
    """Return how far the tool has been checked, from the last recorded run of published checks."""
    rows: list[dict[str, Any]] = json.loads((docs / "checks" / "checks.json").read_text("utf-8"))
    lines = [
        "# How far it has been checked",
        "",
        "Every row compares an answer with a number printed outside this project.",
        "The page is generated from the published checks in `tests/published`; a check that misses "
        "its budget stays, with the size of the miss.",
        "",
        summary_line(rows),
        "",
    ]
    for file in sorted({row["file"] for row in rows}):
        mine = [row for row in rows if row["file"] == file]
        lines += [f"## {_subject(file)}", ""]
        lines += [mine[0]["about"].split("\n\n")[0].replace("\n", " "), ""]
        lines += ["| check | outcome |", "| --- | --- |"]
        for row in mine:
            why = f": {_cell(row['why'])}" if row["why"] else ""
            lines.append(f"| {_sentence(row['name'])} | {STATES[row['state']]}{why} |")
        lines.append("")
    return "\n".join(lines)


def summary_line(rows: list[dict[str, Any]]) -> str:
    """Return the count of checks in a sentence."""
    agree = sum(row["state"] == "passed" for row in rows)
    miss = sum(row["state"] == "missed" for row in rows)
    return (
        f"{agree} checks agree with print within their budgets; "
        f"{miss} miss and are shown as missing."
    )


def readme_table(rows: list[dict[str, Any]]) -> str:
    """Return the README's table of checks, one line a subject."""
    lines = [
        summary_line(rows),
        "",
        "| subject | agree | miss, as stated |",
        "| --- | ---: | ---: |",
    ]
    for file in sorted({row["file"] for row in rows}):
        mine = [row["state"] for row in rows if row["file"] == file]
        lines.append(f"| {_subject(file)} | {mine.count('passed')} | {mine.count('missed')} |")
    return "\n".join(lines)


def readme_with_table(docs: Path) -> str:
    """Return the README with today's table of checks in it."""
    rows: list[dict[str, Any]] = json.loads((docs / "checks" / "checks.json").read_text("utf-8"))
    text = (docs.parent / "README.md").read_text("utf-8")
    head, rest = text.split("<!-- checks -->")
    tail = rest.split("<!-- /checks -->")[1]
    return f"{head}<!-- checks -->\n{readme_table(rows)}\n<!-- /checks -->{tail}"


def _subject(file: str) -> str:
    return file.removeprefix("test_").removesuffix(".py").replace("_", " ")


def commands_page(docs: Path) -> str:
    """Return the page of commands, from the program's own help."""
    from typer.main import get_command

    from tuftwork.cli import EXIT_CODES, program

    group: Any = get_command(program)
    lines = [
        "# Commands",
        "",
        "Every command that answers takes `--json`.",
        "",
        "## Exit codes",
        "",
    ]
    lines += ["| code | meaning |", "| --- | --- |"]
    lines += [f"| {code} | {meaning} |" for code, meaning in EXIT_CODES.items()] + [""]
    for name in sorted(group.commands):
        found = group.commands[name]
        for verb in sorted(getattr(found, "commands", {})):
            lines += _command_lines(f"{name} {verb}", found.commands[verb])
        if not hasattr(found, "commands"):
            lines += _command_lines(name, found)
    return "\n".join(lines)


def _command_lines(name: str, found: Any) -> list[str]:
    help_text = (found.help or "").strip().split("\n\n")[0].replace("\n", " ")
    lines = [f"## {name}", "", help_text, "", f"`tuftwork {name}`", ""]
    rows = []
    for parameter in found.params:
        if parameter.name == "help":
            continue
        written = (
            ", ".join(parameter.opts)
            if parameter.param_type_name == "option"
            else (parameter.name.upper())
        )
        rows.append(f"| `{written}` | {_cell(getattr(parameter, 'help', '') or '')} |")
    if rows:
        lines += ["| part | meaning |", "| --- | --- |", *rows, ""]
    return lines


def bibliography_page(docs: Path) -> str:
    """Return the page of sources, from the bibliographies of the rooms."""
    import tuftwork

    folder = Path(tuftwork.__file__).parent
    lines = ["# Sources", "", "Works that methods, tables and checks rest on.", ""]
    for bib in sorted(folder.rglob("*.bib")):
        lines += [f"## {bib.stem}", ""]
        for kind, key, body in re.findall(
            r"@(\w+)\{\s*([\w-]+)\s*,(.*?)\n\}", bib.read_text("utf-8"), re.S
        ):
            lines.append(f"- **{key}** ({kind}): {_reference(body)}")
        lines.append("")
    return "\n".join(lines)


def _reference(body: str) -> str:
    fields = {
        key.lower(): re.sub(r"[{}\\]", "", value).replace("\n", " ")
        for key, value in re.findall(r"(\w+)\s*=\s*\{((?:[^{}]|\{[^{}]*\})*)\}", body)
    }
    order = (
        "author",
        "title",
        "journal",
        "booktitle",
        "institution",
        "publisher",
        "number",
        "year",
    )
    return re.sub(r"\s+", " ", ". ".join(fields[k] for k in order if fields.get(k)))


def _sentence(name: str) -> str:
    head, _, case = name.partition("[")
    words = head.removeprefix("test_").replace("_", " ")
    return _cell(f"{words} ({case.rstrip(']')})" if case else words)


def _cell(text: str) -> str:
    return re.sub(r"\s+", " ", text).replace("|", "\\|").replace("<", "&lt;")


if __name__ == "__main__":
    write_generated_pages(Path(__file__).parent)
    sys.exit(0)
