"""From amounts and constants to the equilibrium state, for one mixture and for many at once.

There are two iterations on purpose. Side by side (``rows``) many mixtures take the same Newton step in one
basis, a hundred times as fast per mixture; but one that must move to another basis, or needs a line search,
cannot stay in step with the rest. Of 1,499 random mixtures, started alike, it brought home 1,403 where the
single iteration (``newton``) brought home 1,497; so ``rows`` leaves its starts, and strays, to ``single``.
"""
