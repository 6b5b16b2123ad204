"""The edges that the help moves landmarks onto are of landmarks that there are."""

from referral.core.measure.landmarks import LANDMARKS, SEVERAL_POINTS
from referral.films.edges import EDGES, LEVEL, UPRIGHT, edge_words


def test_every_edge_is_of_landmarks_of_its_view():
    assert set(EDGES) == set(LANDMARKS)
    for view, edges in EDGES.items():
        for name, edge in edges.items():
            assert {name, *(edge.along or ())} <= set(LANDMARKS[view]) - set(SEVERAL_POINTS)
            assert edge.runs in (LEVEL, UPRIGHT)


def test_an_edge_is_handed_on_in_words():
    assert edge_words("lateromedial", "wall_distal") == "upright wall_proximal wall_distal"
    assert edge_words("lateromedial", "toe") == "upright"
    assert edge_words("lateromedial", "p3_tip") == ""
