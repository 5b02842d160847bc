"""The arrangement's objective given to another solver: SCIP through PySCIPOpt (from the registries).

The model is written from the programme's meaning, pair by pair, and not from its matrix: two candidates of one clique,
two candidates on excluding teeth, and two neighbours of the melody in different octaves are each a row of their own.
"""

from __future__ import annotations

from itertools import combinations, pairwise

from pyscipopt import Model, quicksum

from disc.design.arrange.programme import Programme


def optimum_with_scip(programme: Programme, seconds: int = 60) -> int:
    """The best value SCIP finds. Raises AssertionError if it cannot prove it."""
    model = Model()
    model.hideOutput()
    count = len(programme.value)
    x = [model.addVar(f"x{c}", vtype="BINARY") for c in range(count)]
    worth = quicksum(int(programme.value[c]) * x[c] for c in range(count))
    for group in programme.by_note.values():
        model.addCons(quicksum(x[c] for c in group) <= 1)
    pairs = {pair for clique in programme.cliques for pair in combinations(sorted(clique), 2)}
    for a, b in sorted(pairs):
        model.addCons(x[a] + x[b] <= 1)
    for a, b in programme.excluding:
        for c in (c for c in range(count) if programme.tooth[c] == a):
            for d in (d for d in range(count) if programme.tooth[d] == b):
                model.addCons(x[c] + x[d] <= 1)
    for *graces, note in programme.ornaments:
        for grace in graces:
            for c in programme.candidates_of(grace):
                same = [d for d in programme.candidates_of(note) if programme.octave[d] == programme.octave[c]]
                model.addCons(x[c] <= quicksum(x[d] for d in same))
            first = quicksum(x[c] for c in programme.candidates_of(graces[0]))
            model.addCons(quicksum(x[c] for c in programme.candidates_of(grace)) == first)
    broken = []
    for k, (first, second) in enumerate(pairwise(programme.melody)):
        leap = model.addVar(f"b{k}", lb=0.0, ub=1.0)
        broken.append(leap)
        for c in programme.candidates_of(first):
            for d in programme.candidates_of(second):
                if programme.octave[c] != programme.octave[d]:
                    model.addCons(x[c] + x[d] - 1 <= leap)
    model.setObjective(worth - programme.break_cost * quicksum(broken), "maximize")
    model.setParam("limits/time", float(seconds))
    model.optimize()
    assert model.getStatus() == "optimal", model.getStatus()
    return round(model.getObjVal() + programme.constant)
