"""From amounts and constants to the equilibrium state, for one mixture and for many at once."""
