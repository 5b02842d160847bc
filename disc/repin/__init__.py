"""Findings in, the plan for the bench out: work list, drawings, dividing settings, estimate."""
