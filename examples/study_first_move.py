"""Which change first? The demo's study, asked from Python: more wing against the rear up.

The last line is what the rear-up state gains over more wing at 220 km/h, in points (0.01 m²).
"""

from pathlib import Path
from tempfile import TemporaryDirectory

from tuftwork.demo import write_demo
from tuftwork.study import Bench


def main() -> float:
    """Run the study on the invented car and return the difference in points."""
    with TemporaryDirectory() as place:
        bench = Bench(write_demo(Path(place) / "halyard"))
        rows = {row["name"]: row for row in bench.page("states")["rows"]}
    for name, row in rows.items():
        print(f"{name:18s} CzS {row['gain']['text']:32s} %F {row['share']['text']}")
    wing, rake = rows["more wing"]["gain"], rows["rear up, wing 9"]["gain"]
    return 100 * (rake["best"] - wing["best"])


if __name__ == "__main__":
    print(f"{main():.1f}")
