"""Where a submission runs: ``sandbox`` starts, ``seal`` shuts in, ``kernel`` runs, ``warm`` is quick."""
