"""What a person calls the inputs of a study: short where it is a label, in full as a hint."""

import tomllib
from importlib.resources import files

from tuftwork.car import Project
from tuftwork.study.inputs import hints_of, labels_of

LONGEST = 90  # [-] letters that stand on one line of the page's notices


def _demo() -> Project:
    text = files("tuftwork.demo").joinpath("halyard.toml").read_text(encoding="utf-8")
    return Project.model_validate(tomllib.loads(text))


def test_a_label_fits_on_a_line() -> None:
    long = {name: said for name, said in labels_of(_demo()).items() if len(said) > LONGEST}
    assert not long


def test_what_a_short_label_leaves_out_stands_in_its_hint() -> None:
    labels, hints = labels_of(_demo()), hints_of(_demo())
    name = "floor.model.coverage"
    assert labels[name] == "floor: load over a clean plate's"
    assert "cut-outs" in hints[name]
    assert all(len(hints[n]) > len(labels[n].split(": ")[-1]) for n in hints)
