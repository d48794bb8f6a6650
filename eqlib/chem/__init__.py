"""Equilibrium chemistry: species, reactions, the solver, stresses. Knows nothing of Jupyter."""
