"""The order of work: what is set stands in it, and the steps that keep people safe come before the dig."""

from packpale.review.report.order import order_of_work
from review import factory


def steps(fitting, **sections):
    source = factory.source(fitting, factory.project(**sections))
    (listed,) = [block for block in order_of_work(source).blocks if block.kind == "points"]
    return [factory.words_of(item) for item in listed.items]


def test_steps_follow_what_is_set(fitting):
    shallow = steps(fitting, fence={"hole_depth_m": 0.9}, trench={"depth_m": 1.2})
    deep = steps(fitting, fence={"hole_depth_m": 1.5}, trench={"depth_m": 1.2})
    assert any("would end in ground that is dug away" in s for s in shallow)
    assert any("Drill their holes from the bottom of the trench down to 1.50 m" in s for s in deep)
    bare = steps(fitting, trench={"apron_reach_m": 0.0})
    assert not any("apron" in s for s in bare)
    assert len(bare) < len(shallow)


def test_services_are_located_before_the_dig(fitting):
    found = steps(fitting)
    located, dug = (next(k for k, s in enumerate(found) if word in s) for word in ("services located", "Dig only"))
    assert located < dug
