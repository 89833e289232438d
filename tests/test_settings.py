"""Settings: defaults come from the register, faults come as one line each and all together."""

from pathlib import Path

import pytest

from packpale.faults import Faults
from packpale.settings import FEATURE_KINDS, Project, Settings, read_settings
from packpale.values import STATUSES, register

MINIMAL = '[inputs]\nelevation = "dem.tif"\nplots = "plots.gpkg"\nplot_id = "name"\n'


def settings_of(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "land.toml"
    file.write_text(text, encoding="utf-8")
    return file


def faults_of(tmp_path: Path, text: str) -> list[str]:
    file = settings_of(tmp_path, text)
    with pytest.raises(Faults) as caught:
        read_settings(file)
    return [line.removeprefix(f"{file}: ") for line in caught.value.lines]


def keys_with_defaults(model: type[Settings], prefix: str = "") -> dict[str, object]:
    found: dict[str, object] = {}
    for name, field in model.model_fields.items():
        annotation = field.annotation
        if isinstance(annotation, type) and issubclass(annotation, Settings):
            found |= keys_with_defaults(annotation, f"{prefix}{name}.")
        elif not field.is_required() and isinstance(field.default, dict) and field.default:
            found |= {f"{prefix}{name}.{k}": v for k, v in field.default.items()}
        elif not field.is_required() and field.default not in (None, {}, "Untitled"):
            found[prefix + name] = list(field.default) if isinstance(field.default, tuple) else field.default
    return found


def test_every_default_stands_in_the_register_and_nothing_else_does():
    held = keys_with_defaults(Project)
    # These two tables are filled from the register where they are used, since an empty table means "the defaults".
    in_tables = {k for k in register() if k.startswith(("land.keep_away_m.", "land.weights."))}
    assert in_tables
    assert held.keys() | in_tables == register().keys()
    assert all(register()[key].number == number for key, number in held.items())


def test_every_row_of_the_register_has_a_unit_a_status_and_a_source():
    for value in register().values():
        assert value.status in STATUSES
        assert value.unit
        assert len(value.source) > 10, value.key


def test_a_minimal_file_is_valid_and_its_paths_start_at_the_file(tmp_path):
    project = read_settings(settings_of(tmp_path, MINIMAL))
    assert project.inputs.elevation == (tmp_path.resolve() / "dem.tif",)
    assert project.inputs.plots == tmp_path.resolve() / "plots.gpkg"
    assert project.keep_away() == {}


def test_the_path_of_a_fence_line_starts_at_the_file_and_leaves_the_rest_unset(tmp_path):
    project = read_settings(settings_of(tmp_path, MINIMAL + '[enclosure]\nfence_line = "f.gpkg"\npacks = 2\n'))
    assert project.enclosure.fence_line == tmp_path.resolve() / "f.gpkg"
    assert project.enclosure.model_fields_set == {"fence_line", "packs"}
    # What stands in a copied settings file as it stands in the register does no harm.
    text = MINIMAL + '[enclosure]\nfence_line = "f.gpkg"\ntaper = [0.5, 0.9]\narea_ha = "largest"\n'
    assert read_settings(settings_of(tmp_path, text)).enclosure.fence_line is not None


def test_keep_away_takes_the_named_distance_else_the_registers(tmp_path):
    text = MINIMAL + 'watercourses = "w.gpkg"\ndwellings = "d.gpkg"\nwoodland = "t.gpkg"\n'
    project = read_settings(settings_of(tmp_path, text + "[land]\nkeep_away_m = {dwellings = 60, woodland = 5}\n"))
    assert project.keep_away() == {"watercourses": 10.0, "dwellings": 60.0, "woodland": 5.0}


@pytest.mark.parametrize(
    ("trench", "apron_side", "other_side"),
    [
        # Bench: 2.0 out and 0.5 x 0.3 of wall; skirt: 0.3 and 0.5 x 1.0 of wall; 3.0 to work in on both sides.
        ("depth_m = 1.0\napron_reach_m = 2.0\nside_slope = 0.5", 2.0 + 0.15 + 3.0, 0.3 + 0.5 + 3.0),
        # Without settings: 1.8 + 0.3 + 3.0 and 0.3 + 1.2 + 3.0.
        ("", 5.1, 4.5),
        # A short apron lies within the skirt's own wall.
        ("depth_m = 1.2\napron_reach_m = 0.5\nside_slope = 1.0", 0.3 + 1.2 + 3.0, 0.3 + 1.2 + 3.0),
        # Upright walls: the bottoms' own ends.
        ("side_slope = 0\nworking_strip_m = 0", 1.8, 0.3),
    ],
)
def test_strips_reach_to_the_edge_of_the_dig_and_the_working_strip_on_both_sides(
    tmp_path, trench, apron_side, other_side
):
    outside = read_settings(settings_of(tmp_path, MINIMAL + f"[trench]\n{trench}\n")).trench
    assert (outside.outside_strip_m, outside.inside_strip_m) == pytest.approx((apron_side, other_side))
    inside = read_settings(settings_of(tmp_path, MINIMAL + f'[trench]\n{trench}\nside = "inside"\n')).trench
    assert (inside.outside_strip_m, inside.inside_strip_m) == pytest.approx((other_side, apron_side))


def test_kinds_that_may_lie_inside_are_named_once_and_known(tmp_path):
    text = MINIMAL + '[land]\nmay_lie_inside = ["rock", "slope", "rock"]\n'
    assert read_settings(settings_of(tmp_path, text)).land.may_lie_inside == ("rock", "slope")
    assert read_settings(settings_of(tmp_path, MINIMAL + "[land]\nmay_lie_inside = []\n")).land.may_lie_inside == ()


@pytest.mark.parametrize(
    ("given", "hours", "between", "night"),
    [
        # The day's gap counts where it is the longer one: 07:00 to 20:00 are 13 hours, 20:00 to 07:00 are 11.
        ("", 13.0, ("07:00", "20:00"), 11.0),
        ('rounds = ["07:00", "20:00"]', 13.0, ("07:00", "20:00"), 11.0),
        ('rounds = ["20:00", "07:00"]', 13.0, ("07:00", "20:00"), 11.0),
        ('evening = "20:00"\nmorning = "07:00"', 13.0, ("07:00", "20:00"), 11.0),
        ('evening = "18:00"\nmorning = "06:30"', 12.5, ("18:00", "06:30"), 12.5),
        ('evening = "00:00"\nmorning = "23:59"', 1439 / 60, ("00:00", "23:59"), 1 / 60),
        ('rounds = ["08:00"]', 24.0, ("08:00", "08:00"), 24.0),
        ('rounds = ["06:00", "14:00", "22:00"]', 8.0, ("06:00", "14:00"), 8.0),
        ('rounds = ["21:15", "06:00", "12:00", "17:30"]', 8.75, ("21:15", "06:00"), 8.75),
        ('rounds = ["00:00", "12:30"]', 12.5, ("00:00", "12:30"), 11.5),
    ],
)
def test_hours_unwatched_are_the_longest_gap_between_rounds(tmp_path, given, hours, between, night):
    checks = read_settings(settings_of(tmp_path, MINIMAL + f"[checks]\n{given}\n")).checks
    assert checks.unattended_h == pytest.approx(hours)
    assert (checks.longest_gap.start, checks.longest_gap.end) == between
    assert checks.night.hours == pytest.approx(night)
    assert sum(gap.hours for gap in checks.gaps) == pytest.approx(24)


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        ('rounds = ["07:00", "20:00", "07:00"]', "found ['07:00', '20:00', '07:00']; give each time once"),
        ("rounds = []", "checks.rounds: found none; give at least one time"),
        ('rounds = ["7:00"]', "found '7:00'; write hours and minutes, such as 20:00"),
        (
            'rounds = ["07:00", "20:00"]\nevening = "20:00"\nmorning = "07:00"',
            "rounds and evening or morning are two ways to set the same; keep one of them",
        ),
        ('rounds = ["07:00"]\nevening = "20:00"', "keep one of them"),
        ('evening = "20:00"', "evening and morning go together; give both"),
        ('evening = "20:00"\nmorning = "20:00"', "evening and morning are both '20:00'"),
    ],
)
def test_rounds_that_cannot_be_are_one_line(tmp_path, given, fault):
    with pytest.raises(Faults) as raised:
        read_settings(settings_of(tmp_path, MINIMAL + f"[checks]\n{given}\n"))
    (line,) = str(raised.value).splitlines()
    assert "checks" in line
    assert fault in line


CASES = {
    "unknown kind of limit": (
        MINIMAL + '[land]\nmay_lie_inside = ["slope", "dwellings"]\n',
        "land.may_lie_inside.1: found 'dwellings'; input should be 'slope', 'ponding', 'rock', 'watercourses', "
        "'services', 'woodland' or 'access'",
    ),
    "unknown section": (MINIMAL + "[trenches]\n", "trenches: unknown key; did you mean 'trench'?"),
    "unknown key": (MINIMAL + "[trench]\ndeep_m = 1\n", "trench.deep_m: unknown key; did you mean 'depth_m'?"),
    "odd key": (MINIMAL + '[trench]\n"Depth M" = 1\n', "trench.Depth M: unknown key; did you mean 'depth_m'?"),
    "missing": ("[inputs]\nplots = 'p'\nplot_id = 'i'\n", "inputs.elevation: missing; it is required"),
    "wrong type": (
        MINIMAL + '[fence]\nheight_m = "2 m"\n',
        "fence.height_m: found '2 m'; input should be a valid number",
    ),
    "a truth value is no number": (
        MINIMAL + "[fence]\nheight_m = true\n",
        "fence.height_m: found True; input should be a valid number",
    ),
    "negative": (MINIMAL + "[trench]\ndepth_m = -1\n", "trench.depth_m: found -1; input should be greater than 0"),
    "infinite": (MINIMAL + "[trench]\ndepth_m = inf\n", "trench.depth_m: found inf; input should be a finite number"),
    "nan": (MINIMAL + "[land]\nsetback_m = nan\n", "land.setback_m: found nan; input should be a finite number"),
    "reversed range": (
        MINIMAL + "[enclosure]\ntaper = [0.9, 0.5]\n",
        "enclosure.taper: [0.9, 0.5] is reversed; put the smaller number first",
    ),
    "one number for two": (MINIMAL + "[enclosure]\naspect = [1.3]\n", "enclosure.aspect.1: missing; it is required"),
    "area": (
        MINIMAL + '[enclosure]\narea_ha = "big"\n',
        "enclosure.area_ha: found 'big'; input should be 'largest' or a valid number",
    ),
    "rates out of order": (
        MINIMAL + "[rates]\npost_each = [3, 2, 1]\n",
        "rates.post_each: found [3, 2, 1]; write [low, likely, high], three numbers from 0 up in this order",
    ),
    "a rate of one number, in a key with a figure": (
        MINIMAL + "[rates]\nmesh_per_m2 = 13\n",
        "rates.mesh_per_m2: found 13; write [low, likely, high], three numbers from 0 up in this order",
    ),
    "a rate of two numbers": (
        MINIMAL + "[rates]\nmesh_per_m2 = [9, 13]\n",
        "rates.mesh_per_m2: found [9, 13]; write [low, likely, high], three numbers from 0 up in this order",
    ),
    "a negative rate": (
        MINIMAL + "[rates]\nmesh_per_m2 = [-9, 13, 20]\n",
        "rates.mesh_per_m2: found [-9, 13, 20]; write [low, likely, high], three numbers from 0 up in this order",
    ),
    "a rate that is none": (
        MINIMAL + "[rates]\nmesh_per_m2 = [9, nan, 20]\n",
        "rates.mesh_per_m2: found [9, nan, 20]; write [low, likely, high], three numbers from 0 up in this order",
    ),
    "an endless rate": (
        MINIMAL + "[rates]\nmesh_per_m2 = [9, 13, inf]\n",
        "rates.mesh_per_m2: found [9, 13, inf]; write [low, likely, high], three numbers from 0 up in this order",
    ),
    "a rate for what is not in the bill": (
        MINIMAL + "[rates]\nmesh_per_m3 = [9, 13, 20]\n",
        "rates.mesh_per_m3: unknown key; did you mean 'mesh_per_m2'?",
    ),
    "a figure in a key": (
        MINIMAL + "[plant]\nbucket_m3 = -1\n",
        "plant.bucket_m3: found -1; input should be greater than 0",
    ),
    "soil class": (
        MINIMAL + '[soil]\ndrainage_class = "wellish"\n',
        "soil.drainage_class: found 'wellish'; input should be 'excessively', 'somewhat excessively', 'well', "
        "'moderately well', 'somewhat poorly', 'poorly' or 'very poorly'",
    ),
    "impossible trench": (
        MINIMAL + "[trench]\ndepth_m = 0.5\napron_cover_m = 0.8\n",
        "trench: apron_cover_m = 0.8 is deeper than depth_m = 0.5; the apron lies at or above the bottom of the skirt",
    ),
    "deep vertical walls": (
        MINIMAL + "[trench]\ndepth_m = 1.6\nside_slope = 0\n",
        "trench: vertical walls at depth_m = 1.6; from 1.52 m (5 ft) set side_slope above 0",
    ),
    "time": (
        MINIMAL + '[checks]\nevening = "8 pm"\nmorning = "07:00"\n',
        "checks.evening: found '8 pm'; write hours and minutes, such as 20:00",
    ),
    "weights and pairwise": (
        MINIMAL + "[land]\nweights = {slope = 1}\npairwise = {slope = {drainage = 2}}\n",
        "land: give weights or pairwise, not both",
    ),
    "no weight": (
        MINIMAL + "[land]\nweights = {slope = 0}\n",
        "land: weights are all zero; give at least one criterion a weight above 0",
    ),
    "distance to what is not given": (
        MINIMAL + "[land]\nkeep_away_m = {services = 3}\n",
        "land.keep_away_m.services has no effect without inputs.services; give the file or drop the key",
    ),
    "unknown distance": (
        MINIMAL + "[land]\nkeep_away_m = {streams = 3}\n",
        "land.keep_away_m.streams: unknown key; allowed are "
        + ", ".join(f"'{k}'" for k in FEATURE_KINDS[:-1])
        + " or 'keep_out'",
    ),
    "layer without a fence line": (
        MINIMAL + '[enclosure]\nfence_line_layer = "old"\n',
        "enclosure: fence_line_layer has no effect without fence_line; give the file or drop the key",
    ),
    "a size for a line that is given": (
        MINIMAL + '[enclosure]\nfence_line = "f.gpkg"\narea_ha = 2\n',
        "enclosure: area_ha has no effect with fence_line, to which nothing is fitted; drop one of them",
    ),
    "a shape for a line that is given": (
        MINIMAL + '[enclosure]\nfence_line = "f.gpkg"\ntaper = [0.6, 0.7]\n',
        "enclosure: taper has no effect with fence_line, to which nothing is fitted; drop one of them",
    ),
    "criterion without its input": (
        MINIMAL + "[land]\nweights = {seclusion = 1}\n",
        "the criterion 'seclusion' needs inputs.dwellings; give the file or drop the criterion",
    ),
}


@pytest.mark.parametrize(("text", "line"), CASES.values(), ids=CASES)
def test_a_fault_is_one_line_that_says_where_and_what_is_allowed(tmp_path, text, line):
    assert faults_of(tmp_path, text) == [line]


def test_all_faults_come_together(tmp_path):
    text = MINIMAL + "[trench]\ndepth_m = -1\n[fence]\nheight_m = 0\n[land]\ncells_m = 2\n"
    assert len(faults_of(tmp_path, text)) == 3


def test_what_is_no_settings_file_is_said_in_one_line(tmp_path):
    assert faults_of(tmp_path, "depth = = 3")[0].startswith("not a TOML file (")
    missing = tmp_path / "none.toml"
    with pytest.raises(
        Faults, match=r"cannot be read as text .No such file or directory.; name a settings file in TOML"
    ):
        read_settings(missing)
    with pytest.raises(Faults, match="is a folder, device or pipe"):
        read_settings(tmp_path)
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Faults, match="not UTF-8"):
        read_settings(binary)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (
            "budget = 90000\narea_ha = 2",
            "enclosure: budget = 90000 and area_ha = 2 both say how large the enclosure is; drop one of them",
        ),
        ("budget = 0", "enclosure.budget: found 0; input should be greater than 0"),
        (
            "budget = 90000\npacks = 2",
            "enclosure: budget = 90000 with packs = 2; only the place of one enclosure is chosen by price: drop it, or "
            "set packs = 1",
        ),
        (
            'prefer = "price"\narea_ha = 1\npacks = 3',
            'enclosure: prefer = "price" with packs = 3; only the place of one enclosure is chosen by price: drop it, '
            "or set packs = 1",
        ),
        ("menu_ha = [1, 0, 2]", "enclosure.menu_ha.1: found 0; input should be greater than 0"),
        ("menu_ha = [-1]", "enclosure.menu_ha.0: found -1; input should be greater than 0"),
        (
            "menu_ha = [1, 2, 1.0]",
            "enclosure.menu_ha: 1 stands there more than once; name each size once",
        ),
        ("menu_ha = []", "enclosure.menu_ha: found []; name at least one size, or drop the key"),
        (
            'prefer = "cheap"',
            "enclosure.prefer: found 'cheap'; input should be 'suitability' or 'price'",
        ),
        (
            'prefer = "price"',
            'enclosure: prefer = "price" has no effect without area_ha, since the size is not given; give a number of '
            "hectares, or drop it",
        ),
        (
            'menu_ha = [1]\nfence_line = "f.gpkg"',
            "enclosure: menu_ha has no effect with fence_line, to which nothing is fitted; drop one of them",
        ),
    ],
)
def test_size_price_and_menu_are_refused_with_one_line(tmp_path, text, fault):
    assert faults_of(tmp_path, MINIMAL + f"[enclosure]\n{text}\n") == [fault]


def test_sizes_of_the_menu_may_be_whole_numbers_in_any_order(tmp_path):
    project = read_settings(settings_of(tmp_path, MINIMAL + "[enclosure]\nmenu_ha = [2, 0.5, 1]\n"))
    assert project.enclosure.menu_ha == (2, 0.5, 1)
