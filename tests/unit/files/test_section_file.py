"""Section coordinates in and out."""

import numpy as np
import pytest

from tuftwork.errors import FileFault
from tuftwork.files.section import read_section, write_section_csv, write_section_dxf
from tuftwork.section import naca, single


def _text(path, c, sep=" ", head="a section\n"):
    path.write_text(head + "\n".join(f"{a:.7f}{sep}{b:.7f}" for a, b in zip(c.x, c.y, strict=True)))
    return path


@pytest.mark.parametrize("sep", [" ", ",", "; ", "\t"])
def test_text_with_any_separator_comes_back(tmp_path, sep) -> None:
    c = naca("4412")
    again = read_section(_text(tmp_path / "a.txt", c, sep))
    np.testing.assert_allclose(again.x, c.x, atol=1e-6)
    np.testing.assert_allclose(again.y, c.y, atol=1e-6)


def test_two_lists_from_the_nose_are_joined(tmp_path) -> None:
    c = naca("2412")
    k = int(np.argmin(np.hypot(c.x, c.y)))
    rows = [
        *zip(c.x[: k + 1][::-1], c.y[: k + 1][::-1], strict=True),
        *zip(c.x[k:], c.y[k:], strict=True),
    ]
    (tmp_path / "b.dat").write_text("two lists\n" + "\n".join(f"{a:.7f} {b:.7f}" for a, b in rows))
    again = read_section(tmp_path / "b.dat")
    assert again.x[0] == pytest.approx(1.0)
    assert again.y[10] > 0.0


def test_the_drawing_keeps_the_elements_in_place(tmp_path) -> None:
    stack = single(naca("4412"))
    write_section_dxf(tmp_path / "c.dxf", stack, scale=300.0)
    again = read_section(tmp_path / "c.dxf")
    assert again.chord == pytest.approx(300.0, rel=1e-3)


def test_the_table_names_its_unit(tmp_path) -> None:
    write_section_csv(tmp_path / "d.csv", single(naca("0012")), scale=250.0)
    lines = (tmp_path / "d.csv").read_text().splitlines()
    assert lines[0] == "element,x_mm,y_mm"
    assert lines[1].startswith("1,250")


def test_a_faulty_line_is_named_with_what_stands_there(tmp_path) -> None:
    p = _text(tmp_path / "e.txt", naca("0012"))
    lines = p.read_text().splitlines()
    lines[7] = "0.9 0.1 0.3"
    p.write_text("\n".join(lines))
    with pytest.raises(FileFault, match=r"e.txt:8.*3 numbers"):
        read_section(p)


def test_a_missing_file_is_refused(tmp_path) -> None:
    with pytest.raises(FileFault, match="file not found"):
        read_section(tmp_path / "none.txt")
