"""Joint angles per degree of heel lift: Crevier-Denoix 2001, EVJ Suppl 33:74."""

import pytest

from referral.core.predict.joints import P2_SHARE, joint_cost, joint_response


def test_span_of_the_study():
    # Wedges from 15 degrees toe up to 15 degrees heel up, 30 degrees in all.
    turns = joint_response(30.0)
    dip, pip, fetlock = (round(turn, 1) for turn in list(turns.values())[1:])
    assert (dip, pip, fetlock) == (29.5, 7.3, 6.9)
    assert dip + pip - fetlock == pytest.approx(29.9)


@pytest.mark.parametrize(
    ("lift", "dip", "pip", "fetlock"), [(3, 2.95, 0.73, 0.69), (5, 4.915, 1.215, 1.15)]
)
def test_worked_wedges(lift, dip, pip, fetlock):
    turns = joint_response(lift)
    assert turns["dip_flexion_deg"] == pytest.approx(dip, abs=0.005)
    assert turns["pip_flexion_deg"] == pytest.approx(pip, abs=0.005)
    assert turns["fetlock_extension_deg"] == pytest.approx(fetlock, abs=0.005)


def test_middle_phalanx_takes_what_the_joint_leaves():
    assert round(P2_SHARE, 3) == 0.017


def test_every_benefit_has_its_cost():
    assert "superficial flexor tendon more" in joint_cost(2.0)
    assert "navicular bone" in joint_cost(-2.0)
    assert joint_cost(0.0) == ""
