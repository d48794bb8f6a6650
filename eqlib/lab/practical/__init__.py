"""The Kc practical: plan it, read the table of readings, find what is wrong with it, work out Kc with its
uncertainty.

``plan`` proposes the tubes, ``readings`` reads a table as typed or as a CSV file, ``faults`` names what looks
wrong with one or with a class's, ``analysis`` works out Kc, and other constants.
"""
