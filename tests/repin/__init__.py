"""Tests of the plan, the drawings and the estimate."""
