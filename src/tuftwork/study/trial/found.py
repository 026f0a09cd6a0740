"""What test days add to the findings."""

from tuftwork.car.trial import TrialDay
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.number import Number
from tuftwork.study.store import Tree
from tuftwork.study.trial.shown import KMH, days_of, result_number, row_at, tree_of
from tuftwork.study.trial.strayed import strayed_findings


def trial_findings(answers: Answers) -> list[Finding]:
    """Return what the test days add to the findings."""
    found: list[Finding] = []
    for day in days_of(answers):
        tree = tree_of(answers, day)
        if "refused" in tree:
            found.append(_refused_finding(day, tree))
            continue
        found += _fault_finding(answers, day, tree)
        found += strayed_findings(answers, day)
    return found


def _refused_finding(day: TrialDay, tree: Tree) -> Finding:
    return Finding(
        title=f"The log of '{day.name}' could not be used", text=" ".join(tree["refused"])[:400],
        verdict="unknown", page="log", worth=0.05, test="Mend the file or say its columns' roles.",
    )  # fmt: skip


def _fault_finding(answers: Answers, day: TrialDay, tree: Tree) -> list[Finding]:
    left = [h for h in tree["remaining"] if h["is_fault"]]
    if not left:
        return []
    base = answers.states[0]
    rows = [r for r in tree["results"]["all cures"] if r["state"] == base]
    text = " ".join(f"{h['title']}." for h in left)
    numbers: tuple[Number, ...] = ()
    worth = 0.0
    if rows:
        fast = max(rows, key=lambda r: r["speed"])
        before = row_at(tree, "as read", base, fast["speed"])
        if before is not None:
            numbers = (
                result_number(answers, day, before, "rear", "as read"),
                result_number(answers, day, fast, "rear", "all cures"),
            )
            worth = abs(numbers[0]["best"] - numbers[1]["best"])
            text += (f" As read, CzSr at {fast['speed'] * KMH:.0f} km/h is {numbers[0]['text']}; "
                     f"with all cures {numbers[1]['text']}.")  # fmt: skip
    many = f"{len(left)} faults that bend" if len(left) > 1 else "1 fault that bends"
    return [
        Finding(
            title=f"The log of '{day.name}' holds {many} every number in it", text=text,
            verdict="needs an assumption", page="log", worth=worth, numbers=numbers,
            test="Zero the pots with the driver on board, press each corner by hand, and read the "
            "air speed at two speeds both ways: five minutes in the car park.",
            why=numbers[1]["why"] if numbers else "",
        )
    ]  # fmt: skip
