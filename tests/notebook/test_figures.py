"""Figures in words, numbers and pictures: what a screen reader, a grey printer and a back row get of them."""

import html
import io
import itertools
import re
import subprocess
import sys

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from PIL import Image

import eqlib as eq
from eqlib.lab.colour_spaces import decode_srgb, rgb_to_lab
from eqlib.notebook import figures
from eqlib.notebook.figures_base import png_bytes, sheet, whole_sheet


def disturbed(stress):
    reaction = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    return eq.disturb(eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [reaction], volume=0.010), stress)


TIMES = np.linspace(0.0, 10.0, 120)
IRON = disturbed(eq.Stress.add_solution({"Fe^3+": 0.1}, volume=0.0005))
WATER = disturbed(eq.Stress.dilute(0.010))


def _series(change):
    before, after = change.at_once, change.after
    fade = np.exp(-TIMES)
    names = ("Fe^3+", "SCN^-", "FeSCN^2+")
    return {name: 1000 * (after[name] + (before[name] - after[name]) * fade) for name in names}


def stressed(system, key):
    return eq.disturb(eq.system(system).before(key), eq.system(system).steps[key].stress)


def _swept(d):
    values = {
        name: np.geomspace(d.after[name], low, 50) for name, low in (("Fe^3+", 1e-5), ("FeSCN^2+", 1e-8))
    }
    return figures.sweep(np.geomspace(1e-3, 1, 50), values, "volume / L", log_x=True, log_y=True)


MAKERS = {
    "wells from the side": lambda d: figures.wells(d),
    "wells from above": lambda d: figures.wells(d, view="above"),
    "two wells": lambda d: figures.wells([d.before, d.after]),
    "bars": lambda d: figures.concentration_bars(d),
    "time course": lambda d: figures.time_course(TIMES, _series(d)),
    "q and k": lambda d: figures.q_and_k({"before": 140.0, "at once": d.Q, "after": 140.0}, d.K),
    "spectrum": lambda d: figures.spectrum(d, nm=447),
    "sweep": _swept,
}
COPPERS = ["Cu^2+", *(f"Cu(NH3){n if n > 1 else ''}^2+" for n in range(1, 6))]
MANY = {
    "six curves": lambda: figures.curves(
        TIMES, {c: i * TIMES for i, c in enumerate(COPPERS)}, "pH", "share", "Copper"
    ),
    "a precipitate": lambda: figures.wells(stressed("iron-thiocyanate", "silver")),
    "long words": lambda: figures.wells(stressed("copper-ammonia", "more-ammonia"), view="above"),
    "six wells": lambda: figures.wells([IRON.before, IRON.after] * 3),
    "many bars": lambda: figures.concentration_bars(stressed("copper-ammonia", "more-ammonia")),
    "equal": lambda: figures.curves(TIMES, {"Fe^3+": 0 * TIMES + 1, "SCN^-": 0 * TIMES + 1}, "time / s", "c"),
    "far apart": lambda: figures.q_and_k({"Q": 1e-12}, 1e12),
    "far above": lambda: figures.q_and_k({"before": 2.0, "at once": 1e9, "after": 2.0}, 2.0),
    "equal Q": lambda: figures.q_and_k(140.0, 140.0),
    "zero Q": lambda: figures.q_and_k(0.0, 140.0),
}
EVERY = {**{name: (lambda make=make: make(IRON)) for name, make in MAKERS.items()}, **MANY}


@pytest.fixture(params=EVERY, scope="module")
def drawn(request):
    return EVERY[request.param]()


def _lightness(colour):
    from matplotlib.colors import to_rgb

    return rgb_to_lab(np.array(to_rgb(colour)))[0]


def _contrast(colour):
    """Contrast with white after WCAG 2: (1 + 0.05) / (luminance + 0.05)."""
    from matplotlib.colors import to_rgb

    luminance = decode_srgb(np.array(to_rgb(colour))) @ np.array([0.2126, 0.7152, 0.0722])
    return 1.05 / (float(luminance) + 0.05)


def _texts(figure):
    return [t for t in figure.findobj(Text) if t.get_text() and t.get_visible()]


def test_html_is_an_image_with_its_words_and_a_data_table(drawn):
    bundle = drawn._repr_mimebundle_()
    page = bundle["text/html"]
    assert bundle["text/plain"] == drawn.alt
    alt = html.unescape(re.search(r'<img alt="([^"]+)" src="data:image/png;base64,', page).group(1))
    assert alt == drawn.alt
    assert len(alt) > 40
    assert "<details><summary>" in page
    assert page.count('scope="col"') >= 2
    assert 'scope="row"' in page


def test_the_neutral_version_has_no_table_and_no_verdict(drawn):
    page = drawn.neutral()._repr_html_()
    assert "<table" not in page
    assert html.escape(drawn.alt_neutral, quote=True) in page
    assert html.escape(drawn.alt, quote=True) not in page
    assert repr(drawn.neutral()) == drawn.alt_neutral
    assert not re.search(r"forward|reverse|darker|paler|above K|below K", drawn.alt_neutral)


@pytest.mark.parametrize("name", MAKERS)
def test_neutral_words_are_the_same_whatever_the_outcome(name):
    make = MAKERS[name]
    assert make(IRON).alt_neutral == make(WATER).alt_neutral
    assert make(IRON).alt != make(WATER).alt


def test_text_is_large_dark_and_on_the_sheet(drawn):
    width, height = drawn.figure.canvas.get_width_height()
    for text in _texts(drawn.figure):
        box = text.get_window_extent()
        assert box.x0 >= -1, text
        assert box.x1 <= width + 1, text
        assert box.y0 >= -1, text
        assert box.y1 <= height + 1, text
        assert text.get_fontsize() >= 10, text
        assert _contrast(text.get_color()) >= 4.5, text


def test_most_text_is_of_projector_size(drawn):
    sizes = [text.get_fontsize() for text in _texts(drawn.figure)]
    assert np.median(sizes) >= 10
    assert max(sizes) >= 15
    assert drawn.figure.get_size_inches()[0] == 8.0


def test_no_two_texts_overlap(drawn):
    boxes = [(t.get_text(), t.get_window_extent()) for t in _texts(drawn.figure)]
    for (one, a), (two, b) in itertools.combinations(boxes, 2):
        wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        assert wide <= 1 or high <= 3, f"{one!r} over {two!r}"


def test_lines_stand_out_from_white_and_from_one_another_in_grey(drawn):
    curves = [line for line in drawn.figure.findobj(Line2D) if len(line.get_xdata()) > 10]
    for line in curves:
        assert _contrast(line.get_color()) >= 3.0
    for one, two in itertools.combinations(curves, 2):
        assert one.get_marker() != two.get_marker()
        assert one._dash_pattern != two._dash_pattern or one.get_linestyle() != two.get_linestyle()


def test_neighbouring_series_differ_in_lightness_too():
    from eqlib.notebook.figures_base import SERIES

    greys = [_lightness(colour) for colour, _, _ in SERIES]
    assert all(abs(a - b) >= 10 for a, b in itertools.pairwise(greys))
    assert len({marker for *_, marker in SERIES}) == len(SERIES) == len({str(dash) for _, dash, _ in SERIES})


def test_bars_differ_by_hatch_and_in_grey():
    bars = figures.concentration_bars(IRON).figure.findobj(Rectangle)
    looks = {
        (bar.get_hatch(), round(_lightness(bar.get_facecolor()[:3]))) for bar in bars if bar.get_width() < 0.5
    }
    assert len(looks) == 3
    assert len({hatch for hatch, _ in looks}) == 3
    greys = sorted(grey for _, grey in looks)
    assert min(b - a for a, b in itertools.pairwise(greys)) >= 15
    assert all(_contrast(bar.get_edgecolor()[:3]) >= 3.0 for bar in bars if bar.get_hatch())


@pytest.mark.parametrize("name", EVERY)
def test_a_grey_copy_keeps_every_mark(name):
    # Whatever differs from white in colour still differs from white in grey.
    made = EVERY[name]()
    rgb = np.asarray(Image.open(io.BytesIO(made.png)).convert("RGB")).astype(int)
    marked = np.ptp(rgb, axis=2) > 60
    if name.startswith(("wells", "two wells", "a precipitate", "long words", "six")):
        return  # vessels are filled with the colour itself; their words and numbers are checked below
    grey = np.asarray(Image.open(io.BytesIO(made.png)).convert("L")).astype(int)
    assert np.all(grey[marked] < 215)


def test_every_vessel_says_in_words_and_in_a_number_what_its_colour_shows():
    made = figures.wells(IRON)
    texts = [t.get_text() for t in _texts(made.figure)]
    for label in ("before", "at once", "after"):
        assert label in texts
    assert sum(t.startswith("A ") and "nm" in t for t in texts) == 3
    for state in (IRON.before, IRON.after):
        assert eq.colour_of(state).words in texts
        assert f"absorbance {eq.absorbance(state, 445):.3g}"[:14] in made.alt


def test_a_precipitate_is_dotted_and_named():
    made = MANY["a precipitate"]()
    hatched = [p for p in made.figure.findobj(Rectangle) if p.get_hatch()]
    assert len(hatched) == 1
    assert "AgSCN(s)" in made.table.to_text()
    assert "cloudy" in made.alt


def test_words_of_q_and_k_follow_the_numbers():
    made = figures.q_and_k({"before": 140.0, "at once": 70.0, "after": 300.0}, 140.0)
    assert "Q before is 140, equal to K" in made.alt
    assert "Q at once is 70, below K, which by itself asks for the forward direction" in made.alt
    assert "Q after is 300, above K, which by itself asks for the reverse direction" in made.alt


def test_words_of_curves_name_ends_and_turning_points():
    made = figures.time_course([0, 1, 2, 3], {"Fe^3+": [1.0, 3.0, 2.0, 2.0], "SCN^-": [5.0, 5.0, 5.0, 5.0]})
    assert "iron three plus from 1 to 2, with a highest value of 3" in made.alt
    assert "steady at 5" in made.alt
    assert made.table.rows[1][:2] == ("1", "3")


def _mixture():
    reaction = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    return eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [reaction], volume=0.010)


def test_a_computed_time_course_is_drawn_with_its_stresses_named():
    course = eq.time_course(_mixture(), 60.0, [(30.0, eq.Stress.add_solution({"Fe^3+": 0.1}, volume=0.0005))])
    made = figures.time_course(course)
    assert "iron three plus" in made.alt
    assert "Line 1, at 30:" in made.alt
    assert made.alt_neutral.count("Line 1") == 1
    assert made.table.header[0] == "time / s"
    assert len(made.png) > 1000
    rates = figures.time_course(course, rates=True)
    assert "forward" in rates.alt
    assert "reverse" in rates.alt
    assert rates.table.header == ("time / s", "forward", "reverse")


@pytest.mark.parametrize(("over", "values", "label"), [
    ("volume", np.linspace(0, 0.01, 20), "volume added / mL"),
    ("T", np.linspace(280, 330, 20), "temperature / °C"),
    ("Fe^3+", np.linspace(1e-4, 1e-2, 20), "total Fe^3+ / mmol L⁻¹"),
])  # fmt: skip
def test_a_computed_sweep_is_drawn(over, values, label):
    result = eq.sweep(_mixture(), over, values)
    made = figures.sweep(result, ["FeSCN^2+"])
    assert made.table.header == (label, "FeSCN²⁺")
    assert float(made.table.rows[0][1]) == pytest.approx(1000 * result["FeSCN^2+"][0], rel=1e-3)
    assert len(figures.sweep(result).table.header) == 4


def test_an_array_without_a_mapping_is_named():
    with pytest.raises(eq.EqlibError, match="map each name"):
        figures.sweep([1, 2, 3], ["Fe^3+"], "volume / L")


def test_bars_print_their_numbers():
    texts = [t.get_text() for t in _texts(figures.concentration_bars(IRON).figure)]
    for state in (IRON.before, IRON.after):
        assert f"{1000 * state['FeSCN^2+']:.3g}" in texts


def test_the_spectrum_reads_at_the_wavelength_asked_for():
    made = figures.spectrum(IRON.before, nm=500, path_cm=2.0)
    reading = eq.absorbance(IRON.before, 500, 2.0)
    assert f"A {reading:.2f}" in [t.get_text() for t in _texts(made.figure)]
    assert "at 500 nm" in made.alt
    assert made.table.header == ("wavelength / nm", "vessel 1")


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: figures.curves([0, 1], {}, "x", "y"), "1 to 6"),
        (lambda: figures.curves([0, 1], {str(i): [0, 1] for i in range(7)}, "x", "y"), "1 to 6"),
        (lambda: figures.curves([0], {"a": [0]}, "x", "y"), "two points"),
        (lambda: figures.curves([0, 1], {"a": [0, 1, 2]}, "x", "y"), "one for each"),
        (lambda: figures.curves([0, 1], {"a": [0, float("nan")]}, "x", "y"), "no number"),
        (lambda: figures.curves([0, 1], {"a": [0.0, 0.0]}, "x", "y", log_y=True), "above zero"),
        (lambda: figures.curves([0, 1], {"a": [1.0, 2.0]}, "x", "y", log_x=True), "above zero"),
        (lambda: figures.q_and_k(1.0, 0.0), "K above zero"),
        (lambda: figures.q_and_k(-1.0, 2.0), "Q"),
        (lambda: figures.concentration_bars([IRON.before] * 5), "at most 4"),
        (lambda: figures.wells([IRON.before] * 7), "1 to 6"),
        (lambda: figures.wells([]), "1 to 6"),
        (lambda: figures.concentration_bars(IRON, species=["Ag^+"]), r"Ag\^\+"),
    ],
)
def test_what_cannot_be_drawn_gives_one_plain_line(call, words):
    with pytest.raises(eq.EqlibError, match=words) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_png_bytes_are_a_png_of_the_same_pixels():
    rgb = np.random.default_rng(3).integers(0, 256, (17, 31, 3), dtype=np.uint8)
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(png_bytes(rgb)))), rgb)


def test_stamped_text_looks_as_ordinary_text_does():
    pages = []
    for stamped in (True, False):
        figure = sheet(4.0, 1.0)
        if stamped:
            page = whole_sheet(figure)
            page.text(0.3, 0.5, "FeSCN²⁺ 0.111", 15)
            page.text(3.7, 0.5, "Ag", 15, ha="right", rotation=90)
        else:
            figure.text(0.075, 0.5, "FeSCN²⁺ 0.111", fontsize=15, color="#1a1a1a", ha="left", va="center")
            figure.text(0.925, 0.5, "Ag", fontsize=15, color="#1a1a1a", ha="right", va="center", rotation=90)
        figure.canvas.draw()
        pages.append(255 - np.asarray(figure.canvas.buffer_rgba())[:, :, 0].astype(float))
    one, two = pages
    assert one.sum() == pytest.approx(two.sum(), rel=0.03)
    rows, columns = np.indices(one.shape)
    for axis in (rows, columns):
        assert (axis * one).sum() / one.sum() == pytest.approx((axis * two).sum() / two.sum(), abs=1.0)


def test_the_figure_is_an_ordinary_one_to_save(tmp_path):
    made = figures.wells(IRON)
    for kind in ("png", "svg", "pdf"):
        made.figure.savefig(tmp_path / f"wells.{kind}")
        assert (tmp_path / f"wells.{kind}").stat().st_size > 1000
    assert "before" in (tmp_path / "wells.svg").read_text(encoding="utf-8")


def test_drawing_needs_no_display_and_touches_no_pyplot():
    code = (
        "import sys, numpy as np\n"
        "from eqlib.notebook import figures\n"
        "made = figures.time_course(np.arange(5.0), {'Fe^3+': np.arange(5.0)})\n"
        "made._repr_html_()\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
        "assert 'IPython' not in sys.modules\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        capture_output=True, text=True, timeout=120, check=False, env={"PATH": "", "MPLBACKEND": "TkAgg"},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


def test_collections_carry_no_meaning_by_colour(drawn):
    for collection in drawn.figure.findobj(LineCollection):
        assert len({tuple(c) for c in collection.get_colors().tolist()}) == 1


def test_alt_text_is_made_to_be_heard():
    """Axis labels without a slash, no number said twice, and no claim that Q alone decides."""
    made = figures.curves([0.0, 1.0], {"Fe^3+": [1.0, 2.0]}, "time / s", "concentration / mmol L⁻¹")
    assert made.alt.startswith("Concentration in mmol L⁻¹ against time in s, from 0 to 1: iron three plus")
    assert " / " not in made.alt_neutral
    assert figures.curves([0.0, 1.0], {"pH": [3.0, 4.0]}, "V / mL", "pH").alt.startswith("pH against V in mL")
    red = eq.Mixture({"FeSCN^2+": 1e-4}, []).as_mixed()
    alt = figures.spectrum(red).alt
    assert alt.count(" nm") == 2
    assert "its highest" in alt
    assert "by itself asks for the forward direction" in figures.q_and_k(1.0, 140.0).alt


def test_a_state_has_no_course_in_time():
    with pytest.raises(eq.EqlibError, match="map each name to its values"):
        figures.time_course(eq.Mixture({"Fe^3+": 1e-3}, []).equilibrate())
