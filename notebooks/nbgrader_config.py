"""nbgrader's settings for this course. What they are, and why, is in eqlib/grading/settings.py."""

from eqlib.grading.settings import configure

c = get_config()  # noqa: F821 - nbgrader provides it
configure(c, __file__)
