"""``eqlib check``: does a course hold together? Start at ``course``."""
