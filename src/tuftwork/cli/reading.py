"""Commands about pictures: read."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import NO, JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.show import show_lines, show_table


@command("read")
def read(
    project: ProjectArgument = ".",
    picture: Annotated[str, typer.Option(help="Id of one picture; all unless given.")] = "",
    fill: Annotated[
        bool, typer.Option("--fill", help="Write readings into the keys they are the source of.")
    ] = False,
    draw: Annotated[
        bool, typer.Option("--draw", help="Write annotated pictures (SVG, PNG) into out/.")
    ] = False,
    public: Annotated[
        bool, typer.Option("--public", help="Leave out what tells whose car it is.")
    ] = False,
    slide: Annotated[bool, typer.Option("--slide", help="16:9, legend at the side.")] = False,
    section: Annotated[
        str, typer.Option(help="Write this mark, traced end-on, as section coordinates into out/.")
    ] = "",
    as_json: JsonOption = False,
) -> int:
    """Read dimensions with ranges from the marks on pictures; list what to ask next."""
    from tuftwork.report.picture import write_annotated
    from tuftwork.study import Bench
    from tuftwork.study.picture.save import fill_keys

    bench = Bench(project, runs_itself=False)
    page = bench.page("pictures", **({"picture": picture} if picture else {}))
    rows = [r for r in page["readings"] if not picture or r["picture"] == picture]
    filled = fill_keys(bench) if fill else {}
    wanted = [p["id"] for p in page["pictures"] if not picture or p["id"] == picture]
    drawn = [
        write_annotated(bench, name, public=public, shape="slide" if slide else "paper")
        for name in (wanted if draw or public or slide else ())
    ]
    if section:
        drawn.append(_write_section(bench, picture or page["picture"]["id"], section))
    faults = [p for p in page["pictures"] if p["fault"]] + [r for r in rows if r["fault"]]
    if as_json:
        print_json({**page, "readings": rows, "filled": filled, "drawn": drawn})
        return NO if faults else 0
    shown = [
        (r["id"], r["name"], r["picture"], r["number"] or "–", _largest(r["shares"])) for r in rows
    ]
    show_table("Readings", ("id", "what", "picture", "number", "range comes from"), shown)
    show_lines(f"{p['id']}: {p['fault']}" for p in page["pictures"] if p["fault"])
    show_lines(f"{r['id']}: {r['fault']}" for r in rows if r["fault"])
    show_lines(page["picture"]["notices"])
    asks = page["features"]["ask"]
    show_lines(f"Ask: {q['ask']} ({q['name']}: {q['text']})" for q in asks[:3])
    features = page["features"]
    show_lines(one["text"] for one in features["loose"])
    show_lines(f"{one['name']}: {text}" for one in features["list"] for text in one["checks"])
    show_lines(f"{one['name']}: {one['text']}" for one in features["paths"])
    mending = features["mending"]
    if mending is not None:
        seams = [(r["name"], r["kind"], r["zone"], f"{r['mend']} of {r['count']}",
                  f"{r['points']:.2f} points") for r in mending["rows"]]  # fmt: skip
        show_table("Seams, gaps and fixings", ("fault", "kind", "zone", "mend", "costs"), seams)
        show_lines([mending["text"]])
    show_lines(f"Filled {key} with {value}" for key, value in filled.items())
    show_lines(f"Wrote {path}" for pair in drawn for path in pair.values())
    return NO if faults else 0


def _write_section(bench: Any, picture: str, mark: str) -> dict[str, str]:
    """Write a traced section into out/ and return its path."""
    from tuftwork.files import write_atomic
    from tuftwork.study.picture import desk_of
    from tuftwork.study.picture.traced import trace_section

    found = trace_section(desk_of(bench), picture, mark)
    out = bench.folder / "out"
    out.mkdir(exist_ok=True)
    path = out / f"section-{mark.replace(' ', '-')}.csv"
    write_atomic(path, found.csv().encode())
    return {"section": str(path)}


def _largest(shares: list[dict[str, float]]) -> str:
    return f"{shares[0]['name']} {100 * shares[0]['share']:.0f} %" if shares else "–"
