"""Volumes against published worked examples, the check table of common shapes, published slips, and properties."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wetmount import volume as v
from wetmount.errors import InputError
from wetmount.units import UK_GALLON_L, US_GALLON_L

FT, IN, M = 30.48, 2.54, 100.0
FT3_L, ACRE_CM2 = 28.316846592, 43_560 * 30.48**2

# what, litres computed, printed figure in its unit, litres of that unit, relative tolerance of the print.
PUBLISHED = [
    # Merck Veterinary Manual, formulae to calculate tank volumes
    ("A1 box", v.box(30, 12, 20), 7.2, 1, 1e-9),
    ("A2 cylinder", v.cylinder(20, 20), 6.28318, 1, 1e-5),
    # Use and Application of Salt in Aquaculture (extension text); pi taken as 3.14 in A4
    ("A3 box", v.box(12 * FT, 3 * FT, 3 * FT), 108, FT3_L, 1e-6),
    ("A4 round", v.cylinder(12 * FT, 4.5 * FT), 508.7, FT3_L, 1e-3),
    # Texas Parks and Wildlife, estimating the size of your pond: areas, here one foot deep
    ("A5 rectangle", v.box(260 * FT, 408 * FT, FT), 2.44, ACRE_CM2 * FT / 1000, 3e-3),
    ("A6 circle by its shore", v.cylinder(800 / math.pi * FT, FT), 1.17, ACRE_CM2 * FT / 1000, 2e-3),
    ("A7 triangle", v.triangle(300 * FT, 500 * FT, FT), 1.72, ACRE_CM2 * FT / 1000, 2e-3),
    # Roy, Chari and Gaur, Common Fish Farming Calculations, 2015
    ("A8 trapezoid", v.trapezoid(60 * M, 90 * M, 40 * M, 1.5 * M), 4500, 1000, 1e-9),
    ("A9 circle", v.cylinder(80 * M, 1.5 * M), 7536, 1000, 1e-3),
    # Pond supplier's guide
    ("A11 box", v.box(100 * FT, 109 * FT, 4 * FT), 43_600, FT3_L, 1e-9),
    # Operator maths exercises, pi 3.14 and 7.48 gal/ft3
    ("A12 cylinder", v.cylinder(120 * IN, 180 * IN), 8808, US_GALLON_L, 1e-3),
    ("A13 box", v.box(80 * FT, 20 * FT, 10 * FT), 119_680, US_GALLON_L, 1e-3),
    ("A14 box", v.box(97.2 * FT, 10.5 * FT, 10.5 * FT), 80_158, US_GALLON_L, 1e-3),
    # Weathers (ed.), Commercial Gardening 3, water tanks
    ("A15 box", v.box(6 * FT, 3 * FT, 4 * FT), 448, UK_GALLON_L, 2e-3),
    ("A16 round", v.cylinder(4 * FT, 3 * FT), 234.9, UK_GALLON_L, 1e-3),
    # Formalin drip treatment for eggs in bell jar incubators
    ("A18 trough", v.box(72 * IN, 11 * IN, 12 * IN), 41.1, US_GALLON_L, 2e-3),
]


@pytest.mark.parametrize(("name", "litres", "printed", "unit_l", "tolerance"), PUBLISHED)
def test_published_worked_examples(name: str, litres: float, printed: float, unit_l: float, tolerance: float) -> None:
    assert litres / unit_l == pytest.approx(printed, rel=tolerance), name


def test_average_depth_of_a_sloping_bottom() -> None:
    """A17, permanganate in fish ponds: 4 ft and 6 ft are 5 ft; the same box holds as much as the wedge."""
    wedge = v.strips([100 * 4 * FT, 100 * 5 * FT, 100 * 6 * FT], 50)
    assert wedge == pytest.approx(v.box(100, 100, 5 * FT))


# Computed from the formula beside each shape; the litres are those of a check table made by hand.
CHECK_TABLE = [
    (v.box(60, 30, 36), 64.8), (v.box(120, 50, 50), 300.0), (v.cylinder(50, 60), 117.8),
    (v.half_cylinder(30, 50), 70.7), (v.lying_cylinder(60, 100, 20), 82.5), (v.bowl(30, 22), 11.7),
    (v.frustum(80, 60, 50), 193.7), (v.hexagon(25, 50), 81.2), (v.octagon(20, 50), 96.6),
    (v.quarter_cylinder(60, 50), 141.4), (v.corner_pentagon(60, 25, 45), 134.4), (v.bow_front(90, 35, 10, 50), 187.8),
    (v.ellipse(300, 200, 80, 0.8), 3016),
]  # fmt: skip


@pytest.mark.parametrize(("litres", "table"), CHECK_TABLE)
def test_check_table(litres: float, table: float) -> None:
    assert litres == pytest.approx(table, rel=1e-3, abs=0.05)


@pytest.mark.parametrize(
    ("depth", "diameter", "length"), [(5, 60, 100), (20, 60, 100), (30, 60, 100), (47, 60, 100), (60, 60, 100)]
)
def test_partly_filled_round_vessels_against_quadrature(depth: float, diameter: float, length: float) -> None:
    """scipy integrates the wetted width or area over the depth."""
    from scipy.integrate import quad

    r = diameter / 2
    width, _ = quad(lambda h: 2 * math.sqrt(max(0.0, 2 * r * h - h * h)), 0, depth)
    assert v.lying_cylinder(diameter, length, depth) == pytest.approx(width * length / 1000, rel=1e-6)
    ball, _ = quad(lambda h: math.pi * (2 * r * h - h * h), 0, depth)
    assert v.bowl(diameter, depth) == pytest.approx(ball / 1000, rel=1e-9)


def test_tapered_box_is_the_frustum_of_a_pyramid() -> None:
    from scipy.integrate import quad

    side = 40
    area, _ = quad(lambda h: (side + h / 50 * 20) ** 2, 0, 50)
    assert v.tapered_box(60**2, 40**2, 50) == pytest.approx(area / 1000)


def test_strips_are_simpsons_rule() -> None:
    from scipy.integrate import simpson

    sections = [0.0, 4000.0, 9000.0, 12_000.0, 8000.0, 3000.0, 500.0]
    assert v.strips(sections, 50) == pytest.approx(simpson(sections, dx=50) / 1000)


# --- displacement ---------------------------------------------------------------------------------------------------

# length, width, depth, bed cm, rock kg, net litres: porosity 0.4 and rock 2.6 kg/L to 2.9 (the worked table of the
# displacement formulas, computed).
DISPLACEMENT = [
    (60, 30, 33, 4, 2, 54.3), (60, 30, 33, 6, 3, 51.8), (100, 40, 45, 5, 8, 165.0), (120, 50, 50, 6, 20, 270.9),
    (80, 35, 40, 0, 0, 112.0),
]  # fmt: skip


@pytest.mark.parametrize(("length", "width", "depth", "bed", "rock", "net"), DISPLACEMENT)
def test_displacement(length: float, width: float, depth: float, bed: float, rock: float, net: float) -> None:
    vessel = v.Vessel(
        "box", {"length": length, "width": width, "depth": depth}, ("sand", bed), {"rock": rock}, tape_cm=0
    )
    got = v.vessel_volume(vessel)
    assert got.low_l <= net * 1.0005
    assert got.high_l >= net * 0.9995
    assert got.best_l == pytest.approx(net, rel=0.01)


def test_pipes_hold_what_the_table_says() -> None:
    """Litres to the metre of 25, 32, 40 and 50 mm pipe."""
    assert [round(v.pipe(d / 10, 100), 2) for d in (25, 32, 40, 50)] == [0.49, 0.8, 1.26, 1.96]


def test_several_vessels_are_one_system() -> None:
    tank = v.Vessel("box", {"length": 100, "width": 40, "depth": 45})
    sump = v.Vessel("box", {"length": 60, "width": 30, "depth": 20})
    whole = v.system_volume([tank, sump, v.exactly(8, "canister")])
    assert whole.best_l == pytest.approx(180 + 36 + 8)
    assert whole.low_l < whole.best_l < whole.high_l
    assert len(whole.how) == 3


# --- salt -----------------------------------------------------------------------------------------------------------

# salt g, before, after mS/cm, rise g/L, litres, one standard error in percent: the worked table of the method.
SALT = [
    (30, 0.35, 0.94, 0.299, 100, 3.3), (50, 0.25, 0.74, 0.249, 201, 3.7), (100, 0.6, 1.05, 0.228, 438, 3.9),
    (500, 0.45, 0.7, 0.127, 3940, 6.1), (2000, 0.5, 0.9, 0.203, 9850, 4.2),
]  # fmt: skip


@pytest.mark.parametrize(("salt", "before", "after", "rise", "litres", "error"), SALT)
def test_volume_by_salt(salt: float, before: float, after: float, rise: float, litres: float, error: float) -> None:
    got = v.volume_by_salt(salt, before, after)
    assert got.rise_g_per_l == pytest.approx(rise, abs=0.0011)
    assert got.volume.best_l == pytest.approx(litres, rel=0.003)
    assert 100 * got.standard_error == pytest.approx(error, abs=0.06)


def test_the_rule_of_salt_by_the_pound() -> None:
    """E6, E7, Meck: V = 120 P / T in US gallons; 10 lb raising 1.2 g/L is 1,000 gal by the rule, 998.5 exactly."""
    pound_g = 453.59237
    assert 10 * pound_g / 1.2 / US_GALLON_L == pytest.approx(1000, rel=2e-3)
    assert pound_g / 1 / US_GALLON_L == pytest.approx(119.826, rel=1e-4)


@pytest.mark.parametrize(("mol_per_l", "molar_conductivity"), [(0.01, 118.45), (0.02, 115.70), (0.05, 111.01)])
def test_conductivity_of_salt(mol_per_l: float, molar_conductivity: float) -> None:
    """CRC Handbook, equivalent conductivity of sodium chloride at 25 °C (values from memory): 1.90 to 2.03 mS/cm to
    the g/L over 0.6 to 2.9 g/L, so the constant is within 4 %."""
    assert molar_conductivity / 58.44 == pytest.approx(v.SALT_MS_PER_CM_PER_G_PER_L, rel=0.04)


# --- published slips: ours must not reproduce them -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("litres", "slip_gallons", "right_gallons"),
    [
        (v.box(16 * FT, 30 * IN, 20 * IN), 469, 498.7),  # X7, koi formalin page
        (v.cylinder(27.4 * FT, 11 * FT), 4891, 48_520),  # X8, operator maths exercises, tenfold
        (v.box(200 * FT, 150 * FT, 8 * FT), 1.82e6, 1.795e6),  # X9, an acre taken as 42,500 ft2
        (v.cylinder(16 * FT, 2 * FT), 2988.48, 3008),  # X13
    ],
)
def test_published_slips_are_not_followed(litres: float, slip_gallons: float, right_gallons: float) -> None:
    assert litres / US_GALLON_L == pytest.approx(right_gallons, rel=1e-3)
    assert abs(litres / US_GALLON_L - slip_gallons) / slip_gallons > 0.005


def test_a_tenfold_slip_is_asked_about() -> None:
    """X8: the tank that was printed as 4,891 gallons."""
    tank = v.exactly(v.cylinder(27.4 * FT, 11 * FT))
    question = v.doubt_of_label(tank, 4891 * US_GALLON_L)
    assert question is not None
    assert "tenfold" in question
    assert v.doubt_of_label(v.exactly(185), 208) is None


# --- bad input and properties -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "make",
    [
        lambda: v.exactly(0),
        lambda: v.exactly(-3),
        lambda: v.exactly(math.nan),
        lambda: v.exactly(1e12),
        lambda: v.vessel_volume(v.Vessel("box", {"length": 0, "width": 3, "depth": 3})),
        lambda: v.vessel_volume(v.Vessel("box", {"length": 3, "width": 3})),
        lambda: v.vessel_volume(v.Vessel("cube", {"length": 3})),
        lambda: v.vessel_volume(v.Vessel("box", {"length": 50, "width": 30, "depth": 30}, ("gravel", 31))),
        lambda: v.vessel_volume(v.Vessel("box", {"length": 50, "width": 30, "depth": 30}, None, {"rock": 500})),
        lambda: v.vessel_volume(v.Vessel("box", {"length": 50, "width": 30, "depth": 30}, ("lava", 3))),
        lambda: v.vessel_volume(v.Vessel("bow_front", {"length": 50, "width": 30, "bulge": 26, "depth": 30})),
        lambda: v.volume_by_salt(30, 0.9, 0.9),
        lambda: v.volume_by_salt(0, 0.3, 0.9),
        lambda: v.strips([1, 2], 5),
        lambda: v.system_volume([]),
        lambda: v.bowl(30, 31),
    ],
)
def test_bad_input_is_refused(make: object) -> None:
    with pytest.raises(InputError):
        make()  # type: ignore[operator]


SIZE = st.floats(5, 500)


@given(st.sampled_from(sorted(v.SHAPES)), st.lists(SIZE, min_size=4, max_size=4), st.floats(1.1, 3))
def test_a_volume_grows_with_the_cube_of_the_scale(shape: str, sizes: list[float], scale: float) -> None:
    formula, names = v.SHAPES[shape]
    sizes = sizes[: len(names)]
    try:
        small = formula(*sizes)
    except InputError:
        return
    assert formula(*(scale * size for size in sizes)) == pytest.approx(scale**3 * small, rel=1e-9)


@given(SIZE, SIZE, st.floats(20, 500), st.floats(0, 15), st.floats(0, 2))
def test_the_best_figure_lies_in_the_range(length: float, width: float, depth: float, bed: float, rock: float) -> None:
    vessel = v.Vessel("box", {"length": length, "width": width, "depth": depth}, ("gravel", bed), {"rock": rock})
    try:
        got = v.vessel_volume(vessel)
    except InputError:
        return
    assert 0 < got.low_l <= got.best_l <= got.high_l
