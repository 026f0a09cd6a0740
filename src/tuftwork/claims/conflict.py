"""Smallest sets of statements that cannot all be true."""

from collections.abc import Sequence
from itertools import combinations, pairwise

import numpy as np
from scipy.special import chdtrc

from tuftwork.claims.belief import Belief, Statement, linearised, noise_of

DOUBT = 0.15
"""Below this probability a claim needs an assumption. [-]"""
REFUSED = 0.01
"""Below this probability statements contradict each other. [-]"""
_MOST_TRIPLES = 400


class Tester:
    """Tests sets of statements against a prior, taken as linear around one point.

    Every set is a small matrix cut out of one large one, so thousands can be tried.
    """

    def __init__(self, prior: Belief, statements: Sequence[Statement], around: Belief) -> None:
        self.statements = list(statements)
        difference, slope = linearised(prior, self.statements, around.mean)
        self._difference = difference - slope @ (prior.mean - around.mean)
        self._total = slope @ prior.covariance @ slope.T + noise_of(self.statements)
        ends = np.cumsum([0] + [len(s.equations) for s in self.statements])
        self._rows = [np.arange(a, b) for a, b in pairwise(ends)]

    def probability(self, members: Sequence[int]) -> float:
        """Return how probable so large a disagreement is by chance [-]."""
        return self.given(members, ())

    def given(self, members: Sequence[int], others: Sequence[int]) -> float:
        """Return how probable it is that statements lie so far from what others say of them [-]."""
        rows = np.concatenate([self._rows[i] for i in members])
        difference = self._difference[rows]
        total = self._total[np.ix_(rows, rows)]
        if others:
            known = np.concatenate([self._rows[i] for i in others])
            cross = self._total[np.ix_(rows, known)]
            gain = np.linalg.solve(self._total[np.ix_(known, known)], cross.T).T
            difference = difference - gain @ self._difference[known]
            total = total - gain @ cross.T
        squared = float(difference @ np.linalg.solve(total, difference))
        return float(chdtrc(rows.size, squared))

    def touching(self, member: int) -> list[int]:
        """Return the statements that say anything of what this one is about, strongest first."""
        own = self._rows[member]
        strength = []
        for other, rows in enumerate(self._rows):
            cross = np.abs(self._total[np.ix_(own, rows)])
            scale = np.sqrt(np.outer(np.diag(self._total)[own], np.diag(self._total)[rows]))
            strength.append(0.0 if other == member else float(np.max(cross / scale)))
        order = np.argsort(-np.array(strength))
        return [int(i) for i in order if strength[i] > 0.05]


def smallest_conflicts(tester: Tester, member: int) -> tuple[tuple[str, ...], ...]:
    """Return the smallest sets with one statement in them that cannot all be true.

    Sets of one, then of two, then of three statements; the first size at which any is refused is
    returned, the worst first, at most one with other claims only and one with evidence.
    """
    if tester.probability([member]) < REFUSED:
        return ((tester.statements[member].id,),)
    near = tester.touching(member)
    for size in (1, 2):
        tried = list(combinations(near, size))[:_MOST_TRIPLES]
        found = sorted((tester.given([member], others), others) for others in tried)
        refused = [others for probability, others in found if probability < REFUSED
                   and not _is_refused_without(tester, others)]  # fmt: skip
        if refused:
            return _one_of_each(tester, member, refused)
    return ()


def _is_refused_without(tester: Tester, others: Sequence[int]) -> bool:
    """Whether the others already contradict each other without the statement in question."""
    return tester.probability(others) < REFUSED


def _one_of_each(
    tester: Tester, member: int, refused: Sequence[Sequence[int]]
) -> tuple[tuple[str, ...], ...]:
    """Return the worst set of evidence only and of claims only; a mixed one if there is neither."""
    kept: dict[frozenset[bool], tuple[str, ...]] = {}
    for others in refused:
        kinds = frozenset(tester.statements[i].is_claim for i in others)
        kept.setdefault(kinds, tuple(tester.statements[i].id for i in (member, *others)))
    pure = [kept[kinds] for kinds in (frozenset({False}), frozenset({True})) if kinds in kept]
    return tuple(pure or kept.values())
