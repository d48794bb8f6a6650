"""Where a submission is run: ``sandbox`` starts it, ``seal`` shuts it in, ``kernel`` runs its cells,
``warm`` makes it quick.
"""
