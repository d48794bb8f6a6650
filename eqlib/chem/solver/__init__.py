"""From amounts and constants to the equilibrium state, for one mixture and for many at once.

There are two iterations on purpose. Side by side (``batch``) many mixtures take the same Newton step in one
basis; but one that must move to another basis, or needs a line search, cannot stay in step with the rest. Of
3,000 random mixtures, started alike, a batch of one brought home 2,816 and ``single`` all; of a mixture that
both solve it took a tenth to a third more time. The other way round, 60 mixtures one after another take 6
times as long as in a batch, and 2,000 take 55 times. So ``batch`` leaves its starts, and strays, to
``single``.
"""
