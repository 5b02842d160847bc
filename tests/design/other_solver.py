"""The arrangement's objective given to another solver: CBC through PuLP (both from the registries).

The model is written from the programme's meaning, pair by pair, and not from its matrix: two candidates of one clique,
two candidates on excluding teeth, and two neighbours of the melody in different octaves are each a row of their own.
"""

from __future__ import annotations

from itertools import combinations, pairwise

import pulp

from disc.design.programme import Programme


def optimum_with_cbc(programme: Programme, seconds: int = 60) -> int:
    """The best value CBC finds. Raises AssertionError if it cannot prove it."""
    model = pulp.LpProblem("disc", pulp.LpMaximize)
    count = len(programme.value)
    x = [pulp.LpVariable(f"x{c}", cat="Binary") for c in range(count)]
    worth = pulp.lpSum(int(programme.value[c]) * x[c] for c in range(count))
    for group in programme.by_note.values():
        model += pulp.lpSum(x[c] for c in group) <= 1
    pairs = {pair for clique in programme.cliques for pair in combinations(sorted(clique), 2)}
    for a, b in sorted(pairs):
        model += x[a] + x[b] <= 1
    for a, b in programme.excluding:
        for c in (c for c in range(count) if programme.tooth[c] == a):
            for d in (d for d in range(count) if programme.tooth[d] == b):
                model += x[c] + x[d] <= 1
    broken = []
    for k, (first, second) in enumerate(pairwise(programme.melody)):
        leap = pulp.LpVariable(f"b{k}", 0, 1)
        broken.append(leap)
        for c in programme.candidates_of(first):
            for d in programme.candidates_of(second):
                if programme.octave[c] != programme.octave[d]:
                    model += x[c] + x[d] - 1 <= leap
    model += worth - programme.break_cost * pulp.lpSum(broken) + programme.constant
    model.solve(pulp.PULP_CBC_CMD(msg=False, timeLimit=seconds, gapRel=0.0))
    assert pulp.LpStatus[model.status] == "Optimal", pulp.LpStatus[model.status]
    return round(pulp.value(model.objective))
