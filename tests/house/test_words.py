"""What may not stand in the tree: machine paths, registries, marks of unfinished work."""

import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[2]
FORBIDDEN = re.compile(
    r"/work/|/root/|/home/\w|pypi\.org|registry\.npmjs|files\.pythonhosted|\bTODO\b|\bFIXME\b|\bXXX\b"
)
OWN = {"tests/house/test_words.py"}


def tracked() -> list[str]:
    done = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [name for name in done.stdout.split("\0") if name]


def test_no_file_names_a_machine_or_a_registry() -> None:
    found = []
    for name in tracked():
        path = ROOT / name
        if name in OWN or path.suffix in {".ttf", ".woff2", ".png", ".npz", ".nc", ".pdf"}:
            continue
        if not path.is_file() or "/dist/" in name:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if FORBIDDEN.search(line):
                found.append(f"{name}:{number}: {line.strip()[:100]}")
    assert found == []


def test_no_tracked_file_is_large() -> None:
    large = [n for n in tracked() if (ROOT / n).is_file() and (ROOT / n).stat().st_size > 1_000_000]
    assert large == []


def test_every_cited_key_is_in_a_bibliography() -> None:
    src = ROOT / "src" / "tuftwork"
    known: set[str] = set()
    for bib in src.rglob("*.bib"):
        known |= set(re.findall(r"@\w+\{\s*([\w-]+)\s*,", bib.read_text(encoding="utf-8")))
    cited = {
        key: path.name
        for path in src.rglob("*.py")
        for key in re.findall(r'Source\(\s*key="(\w+)"', path.read_text(encoding="utf-8"))
    }
    missing = {key: place for key, place in cited.items() if key not in known}
    assert missing == {}
