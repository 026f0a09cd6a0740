"""A picture with what was read from it: as drawing (SVG), as image (PNG), for slides, in public.

One description, two pens. How something is known is drawn, not coloured only: solid where it was
seen, dashed where inferred, dotted where guessed.
"""

import base64
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

from tuftwork.car import Project
from tuftwork.errors import UnknownName
from tuftwork.files import write_atomic
from tuftwork.files.picture import whole_picture
from tuftwork.plot import FONTS
from tuftwork.study.picture.desk import Desk, desk_of
from tuftwork.study.picture.page import reading_row

Shape = Literal["paper", "slide"]
SHAPES: tuple[Shape, ...] = ("paper", "slide")
_INK, _FAINT, _PAPER, _HAIR = "#1C232B", "#5F6975", "#F6F4EE", "#CFCCC2"
_LINE, _OPEN, _GUESS = "#FFFFFF", "#9AE0DC", "#FFB59A"
_DASH = {"seen": (), "inferred": (10, 6), "guessed": (2, 6)}
_STRIPPED = "…"
_RIM = ' stroke="#10151A" stroke-width="4" paint-order="stroke"'


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line or outline in pixels of the sheet."""

    at: tuple[tuple[float, float], ...]
    colour: str
    width: float = 2.0
    dash: tuple[int, ...] = ()
    closed: bool = False
    fill: str = ""
    halo: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Text at a place; ``on_picture`` text has a dark rim so that it can be read on anything."""

    at: tuple[float, float]
    text: str
    size: float = 15.0
    colour: str = _INK
    bold: bool = False
    on_picture: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Annotated:
    """A sheet: the picture's place on it, and what is drawn."""

    width: int
    height: int
    picture: bytes
    place: tuple[float, float, float, float]
    strokes: tuple[Stroke, ...]
    words: tuple[Words, ...]

    def svg(self) -> str:
        """Return the sheet as a drawing that needs no other file."""
        x, y, w, h = self.place
        data = base64.b64encode(self.picture).decode()
        lines = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width}" height="{self.height}" '
            f'viewBox="0 0 {self.width} {self.height}" '
            'font-family="Source Sans 3, Segoe UI, Helvetica, sans-serif">',
            f'<rect width="100%" height="100%" fill="{_PAPER}"/>',
            f'<image x="{x:.1f}" y="{y:.1f}" width="{w:.1f}" height="{h:.1f}" '
            f'href="data:image/jpeg;base64,{data}"/>',
        ]
        for one in self.strokes:
            path = "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in one.at)
            path += "Z" if one.closed else ""
            dash = f' stroke-dasharray="{" ".join(map(str, one.dash))}"' if one.dash else ""
            fill = one.fill or "none"
            if one.halo:
                lines.append(
                    f'<path d="{path}" fill="none" stroke="#10151A" stroke-opacity="0.6" '
                    f'stroke-width="{one.width + 2.5}"/>'
                )
            lines.append(
                f'<path d="{path}" fill="{fill}" fill-opacity="0.28" stroke="{one.colour}" '
                f'stroke-width="{one.width}"{dash}/>'
            )
        for word in self.words:
            rim = (
                ' stroke="#10151A" stroke-width="4" paint-order="stroke"' if word.on_picture else ""
            )
            weight = ' font-weight="600"' if word.bold else ""
            lines.append(
                f'<text x="{word.at[0]:.1f}" y="{word.at[1]:.1f}" font-size="{word.size}" '
                f'fill="{word.colour}"{weight}{rim}>{escape(word.text)}</text>'
            )
        return "\n".join([*lines, "</svg>"])

    def png(self) -> bytes:
        """Return the sheet as an image."""
        from PIL import Image, ImageDraw

        sheet = Image.new("RGB", (self.width, self.height), _PAPER)
        x, y, w, h = (round(v) for v in self.place)
        with Image.open(BytesIO(self.picture)) as inside:
            sheet.paste(inside.resize((w, h)), (x, y))
        glass = Image.new("RGBA", sheet.size, (0, 0, 0, 0))
        pen = ImageDraw.Draw(glass)
        for one in self.strokes:
            if one.fill and one.closed:
                pen.polygon(list(one.at), fill=(*_bytes(one.fill), 72))
            line = [*one.at, one.at[0]] if one.closed else list(one.at)
            if one.halo:
                pen.line(line, fill=(16, 21, 26, 150), width=round(one.width + 2.5))
            for part in _dashed(line, one.dash):
                pen.line(part, fill=(*_bytes(one.colour), 255), width=round(one.width))
        sheet.paste(glass, (0, 0), glass)
        pen = ImageDraw.Draw(sheet)
        for word in self.words:
            pen.text(
                word.at, word.text, font=_font(word.size, word.bold), fill=word.colour,
                anchor="ls", stroke_width=2 if word.on_picture else 0, stroke_fill="#10151A",
            )  # fmt: skip
        buffer = BytesIO()
        sheet.save(buffer, format="PNG", optimize=True)
        return buffer.getvalue()


def annotated(
    bench: Any, picture: str, *, public: bool = False, shape: Shape = "paper"
) -> Annotated:
    """Return a picture with its readings, openings and flow guesses.

    Parameters
    ----------
    bench
        The open project.
    picture
        Its id.
    public
        Leave out everything that tells whose car it is.
    shape
        ``paper``: legend below; ``slide``: 16:9, legend at the side.

    Raises
    ------
    UnknownName
        If there is no such picture or shape.
    FileFault
        If its file cannot be read.
    """
    if shape not in SHAPES:
        raise UnknownName("shape", shape, SHAPES)
    desk = desk_of(bench)
    photo = desk.photo(picture)
    image = whole_picture(desk.path(picture), 1600)
    buffer = BytesIO()
    image.save(buffer, format="JPEG", quality=88)  # written anew: no header of the camera's stays
    rows = [
        r for r in (reading_row(desk, a) for a in desk.room.readings) if r["picture"] == picture
    ]
    width, height, place, left, top = _layout(image.size, shape, len(rows))
    scale = place[2] / desk.files[picture].width

    def on(at: tuple[float, float]) -> tuple[float, float]:
        return place[0] + (at[0] + 0.5) * scale, place[1] + (at[1] + 0.5) * scale

    marks = {k: tuple(on(p) for p in v) for k, v in photo.marks.items()}
    strokes, words = _drawn(desk, picture, rows, marks)
    head = "What the picture says" if public else f"{desk.project.car.name} · {photo.title}"
    words += _legend(head, rows, left, top, width)
    if not public:
        about = desk.project.about
        foot = " · ".join(t for t in (about.client, about.author, photo.evidence) if t)
        words.append(Words(at=(24.0, height - 14.0), text=foot, size=13, colour=_FAINT))
    secrets = client_words(desk.project) if public else ()
    return Annotated(
        width=width, height=height, picture=buffer.getvalue(), place=place,
        strokes=tuple(strokes), words=tuple(_scrubbed(w, secrets) for w in words),
    )  # fmt: skip


def write_annotated(
    bench: Any, picture: str, *, public: bool = False, shape: Shape = "paper"
) -> dict[str, str]:
    """Write a picture's sheet into the project's out/ folder as SVG and PNG; return the paths."""
    made = annotated(bench, picture, public=public, shape=shape)
    out = Path(bench.folder) / "out"
    out.mkdir(exist_ok=True)
    name = f"picture-{picture}{'-public' if public else ''}{'-slide' if shape == 'slide' else ''}"
    write_atomic(out / f"{name}.svg", made.svg().encode())
    write_atomic(out / f"{name}.png", made.png())
    return {"svg": str(out / f"{name}.svg"), "png": str(out / f"{name}.png")}


def client_words(project: Project) -> tuple[str, ...]:
    """Return every text that tells whose car it is, longest first."""
    about, car = project.about, project.car
    whole = [about.client, about.author, about.title, about.question, car.name, car.category]
    for item in project.evidence:
        whole += [item.title, item.file, item.note, item.digest.removeprefix("sha256:")]
    for claim in project.claims:
        whole += [claim.said, claim.by]
    if project.reading:
        whole += [p.title for p in project.reading.pictures]
    words = {t for t in whole if len(t) > 2}
    for text in (about.client, car.name, car.category, about.author):
        words |= {w for w in re.findall(r"\w{4,}", text) if w.lower() not in _PLAIN}
    return tuple(sorted(words, key=len, reverse=True))


_PLAIN = {"aerodynamicist", "racing", "road", "open", "class", "active", "rear", "wing", "with"}


def _scrubbed(words: Words, secrets: Sequence[str]) -> Words:
    from dataclasses import replace

    text = words.text
    for secret in secrets:
        text = re.sub(re.escape(secret), _STRIPPED, text, flags=re.IGNORECASE)
    return replace(words, text=text)


def _layout(
    size: tuple[int, int], shape: Shape, n_row: int
) -> tuple[int, int, tuple[float, float, float, float], float, float]:
    wide, high = size
    if shape == "slide":
        room = (1330.0, 1010.0)
        scale = min(room[0] / wide, room[1] / high)
        w, h = wide * scale, high * scale
        return (
            1920,
            1080,
            (24.0, (1080 - h) / 2, w, h),
            24.0 + w + 28.0,
            max(60.0, (1080 - h) / 2 + 20),
        )
    scale = 1600 / wide
    h = high * scale
    lines = (n_row + 1) // 2
    return 1600, int(h + 172 + 26 * lines), (0.0, 0.0, 1600.0, h), 24.0, h + 40.0


def _drawn(
    desk: Desk, picture: str, rows: list[dict[str, Any]],
    marks: dict[str, tuple[tuple[float, float], ...]],
) -> tuple[list[Stroke], list[Words]]:  # fmt: skip
    strokes: list[Stroke] = []
    words: list[Words] = []
    taken: list[tuple[float, float, float]] = []
    for row in rows:
        at = [p for m in row["marks"] for p in marks.get(m, ())]
        if not at or row["number"] is None:
            continue
        if row["kind"] == "area":
            strokes += [Stroke(at=marks[m], colour=_OPEN, closed=True, fill=_OPEN, width=1.5)
                        for m in row["marks"] if m in marks]  # fmt: skip
            strokes += [Stroke(at=marks[m], colour=_LINE, closed=True, width=1, halo=False)
                        for m in row["less"] if m in marks]  # fmt: skip
        elif len(at) > 1:
            strokes.append(Stroke(at=tuple(at), colour=_LINE))
        for p in at if row["kind"] != "area" else ():
            strokes += _cross(p)
        x = sum(p[0] for p in at) / len(at) + 12
        y = sum(p[1] for p in at) / len(at) + 26
        text = f"{row['id']}  {row['number']['text'].split(' (')[0]}"
        while any(
            abs(ty - y) < 22 and x < tx + tw and tx < x + 9 * len(text) for tx, ty, tw in taken
        ):
            y += 22
        taken.append((x, y, 9.0 * len(text)))
        words.append(Words(at=(x, y), text=text, size=17, colour=_LINE, bold=True, on_picture=True))
    for feature in desk.room.features:
        if feature.picture != picture or feature.mark not in marks:
            continue
        at = list(marks[feature.mark])
        x, y = sum(p[0] for p in at) / len(at), sum(p[1] for p in at) / len(at)
        if feature.role in ("in", "out"):
            ends = ((x - 70, y - 52), (x - 10, y - 8)) if feature.role == "in" else (
                (x + 10, y - 8), (x + 70, y - 52))  # fmt: skip
            strokes += _arrow(*ends, _DASH[feature.known])
    return strokes, words


def _cross(at: tuple[float, float]) -> list[Stroke]:
    x, y = at
    return [Stroke(at=((x - 7, y), (x + 7, y)), colour=_LINE, width=1.5),
            Stroke(at=((x, y - 7), (x, y + 7)), colour=_LINE, width=1.5)]  # fmt: skip


def _arrow(
    start: tuple[float, float], end: tuple[float, float], dash: tuple[int, ...]
) -> list[Stroke]:
    from math import atan2, cos, sin

    way = atan2(end[1] - start[1], end[0] - start[0])
    wings = [(end[0] - 14 * cos(way + t), end[1] - 14 * sin(way + t)) for t in (0.45, -0.45)]
    return [
        Stroke(at=(start, end), colour=_GUESS, width=4, dash=dash),
        Stroke(at=(wings[0], end, wings[1]), colour=_GUESS, width=4, halo=False),
    ]


def _legend(
    head: str, rows: list[dict[str, Any]], left: float, top: float, width: int
) -> list[Words]:
    side = left > 100
    words = [Words(at=(left, top), text=head, size=22, bold=True)]
    column = (width - 2 * left) / 2 if not side else 0.0
    lines = (len(rows) + 1) // 2
    for k, row in enumerate(rows):
        x = left if side or k < lines else left + column
        y = top + 34 + (46 * k if side else 26 * (k % max(1, lines)))
        text = row["number"]["text"] if row["number"] else "not read"
        words.append(Words(at=(x, y), text=row["id"], size=15, bold=True))
        words.append(Words(at=(x + 42, y), text=row["name"], size=15))
        words.append(
            Words(at=(x + 42, y + 19) if side else (x + 400, y), text=text, size=15, bold=True)
        )
    y = top + 34 + (46 * len(rows) if side else 26 * lines) + 10
    notes = (
        "Brackets: the truth lies inside four times out of five.",
        "Arrows: solid seen, dashed inferred, dotted guessed.",
        "Desk reading of a picture; measure before building.",
    )
    for k, note in enumerate(notes):
        for j, line in enumerate(_wrapped(note, 62 if side else 140)):
            words.append(Words(at=(left, y + 20 * (k + j + (k and side))), text=line, size=13,
                               colour=_FAINT))  # fmt: skip
    return words


def _wrapped(text: str, most: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, most)


def _font(size: float, bold: bool) -> Any:
    from PIL import ImageFont

    name = "SourceSans3-Semibold.ttf" if bold else "SourceSans3-Regular.ttf"
    return ImageFont.truetype(str(FONTS / name), round(size))


def _bytes(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _dashed(
    line: list[tuple[float, float]], dash: tuple[int, ...]
) -> list[list[tuple[float, float]]]:
    if not dash:
        return [line]
    from math import hypot

    parts = []
    for (x0, y0), (x1, y1) in pairwise(line):
        length, at = hypot(x1 - x0, y1 - y0), 0.0
        while at < length:
            end = min(length, at + dash[0])
            parts.append([
                (x0 + (x1 - x0) * t / length, y0 + (y1 - y0) * t / length) for t in (at, end)
            ])  # fmt: skip
            at += sum(dash)
    return parts
