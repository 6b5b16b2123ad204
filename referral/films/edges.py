"""Which edge each landmark lies on, for the help that moves a tapped place onto it.

An edge runs along the line of two landmarks; while one of them has no place yet, and for
edges that are no line, it runs level or upright, as the ground line has it. A landmark that
is left out lies on no plain edge, and is never moved.
"""

from collections.abc import Mapping
from dataclasses import dataclass

LEVEL, UPRIGHT = "level", "upright"


@dataclass(frozen=True, slots=True)
class Edge:
    """The way an edge runs: along a line of two landmarks, else level or upright."""

    runs: str
    along: tuple[str, str] | None = None


def _line(first: str, second: str, runs: str = UPRIGHT) -> dict[str, Edge]:
    edge = Edge(runs, (first, second))
    return {first: edge, second: edge}


def _all(names: tuple[str, ...], runs: str) -> dict[str, Edge]:
    return dict.fromkeys(names, Edge(runs))


P3_FACE = ("p3_dorsal_proximal", "p3_dorsal_distal")

EDGES: Mapping[str, Mapping[str, Edge]] = {
    "lateromedial": {
        **_all(("ground_palmar", "ground_dorsal", "bearing_palmar", "bearing_dorsal"), LEVEL),
        **_line(*P3_FACE),
        **_line("wall_proximal", "wall_distal"),
        **_line("heel_wall_proximal", "heel_wall_distal"),
        **_line("p2_dorsal_proximal", "p2_dorsal_distal"),
        **_all(("p3_palmar_process", "p3_palmar_process_2", "extensor_process"), LEVEL),
        **_all(("sole_under_tip", "sole_under_process"), LEVEL),
        **_all(("toe", "heel"), UPRIGHT),
        "horn_inner_mid": Edge(UPRIGHT, P3_FACE),
    },
    "dorsopalmar": {
        **_all(("ground_medial", "ground_lateral", "sole_medial", "sole_lateral"), LEVEL),
        **_all(("p3_margin_medial", "p3_margin_lateral"), LEVEL),
        **_all(("dip_p2_medial", "dip_p2_lateral", "dip_p3_medial", "dip_p3_lateral"), LEVEL),
        **_line("wall_medial_proximal", "wall_medial_distal"),
        **_line("wall_lateral_proximal", "wall_lateral_distal"),
        **_all(("p3_wall_medial", "p3_wall_lateral"), UPRIGHT),
    },
    "sole_photo": {},
    "side_photo": {
        **_line("wall_proximal", "wall_distal"),
        **_line("heel_wall_proximal", "heel_wall_distal"),
        **_line("pastern_proximal", "pastern_distal"),
        **_all(("toe", "heel"), UPRIGHT),
    },
    "front_photo": {
        **_all(("ground_medial", "ground_lateral"), LEVEL),
        **_line("wall_medial_proximal", "wall_medial_distal"),
        **_line("wall_lateral_proximal", "wall_lateral_distal"),
    },
}
"""View -> landmark -> the edge it lies on."""


def edge_words(view: str, name: str) -> str:
    """Return a landmark's edge as the page hands it on: ``upright wall_proximal wall_distal``."""
    edge = EDGES[view].get(name)
    return "" if edge is None else " ".join((edge.runs, *(edge.along or ())))
