"""Ground for each animal beside published least areas."""

import pytest

from packpale.care.space import LEAST_AREAS, space_notes
from packpale.enclosure.egg import Egg
from told import told
from trench_cases import circle_line, pack_of


@pytest.mark.parametrize(
    ("place", "animals", "area"),
    [
        # Michigan: 900 ft2, and 450 ft2 for each further animal; a foot is 0.3048 m.
        ("Michigan", 1, 900 * 0.09290304),
        ("Michigan", 6, (900 + 5 * 450) * 0.09290304),
        # Ohio: 400 ft2 for one or two, 200 ft2 more for each further one.
        ("Ohio", 1, 400 * 0.09290304),
        ("Ohio", 2, 400 * 0.09290304),
        ("Ohio", 6, (400 + 4 * 200) * 0.09290304),
        # Victoria: 30 m2 for up to two, 10 m2 for each more.
        ("Victoria", 2, 30.0),
        ("Victoria", 6, 70.0),
    ],
)
def test_least_areas_as_printed(place, animals, area):
    (least,) = (least for least in LEAST_AREAS if least.source.startswith(place))
    assert least.of(animals) == pytest.approx(area)


def test_ground_for_each_animal_is_told_where_their_number_is_set():
    pack = pack_of(circle_line(20.0, step=0.5), number=2)
    assert space_notes([pack], None) == []
    (note,) = space_notes([pack], 6)
    assert note.packs == (2,)
    assert note.values["each"].value == pytest.approx(Egg(0.0, 0.0, 0.0, 20.0, 12.0, 18.0).area / 6)
    (text,) = told([note])
    assert "6 animals have" in text
    assert "70 m² (Victoria" in text.replace("\u00a0", " ")
