"""Where a submission runs: ``sandbox`` starts it, ``copies`` shuts it in, ``kernel`` runs the cells."""
