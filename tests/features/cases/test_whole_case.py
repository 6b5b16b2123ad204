"""A whole case taken through moves at random: legal and not, by everybody, late, and twice.

What is legal and where it leads is the hand-written table of `tests/core/test_workflow.py`;
whose turn it is, which red flags are live, and whether the ground of a plan is what it was
are worked out here, apart from the code.
"""

import hashlib
import json
from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import event, select

from referral.accounts.models import Organisation
from referral.cases.handing import HandOver, hand_over
from referral.cases.models import Entry
from referral.cases.queries import case_for, current_limits
from referral.cases.remarks import (
    AddObservation,
    AnswerFlag,
    RaiseFlag,
    add_observation,
    answer_flag,
    raise_flag,
)
from referral.cases.service import (
    SetLimit,
    set_limit,
)
from referral.cases.timeline import chain_faults, texts_of
from referral.core.workflow import Role
from referral.errors import NotFound, ReferralError
from referral.plans.models import JudgementRow, PlanLimb, Review
from tests.core.test_workflow import TURN_MOVES
from tests.factories import NOW, a_case, a_cast, a_limit, a_person, typed_readings
from tests.features.cases.whole_case import DAYS, FORWARD, MOST_HANDED, PEOPLE, WHOSE, Verbs


def _hurry(connection, _record):
    connection.execute("PRAGMA synchronous=OFF")  # nothing here outlives the test


class WholeCase(Verbs, RuleBasedStateMachine):
    """One case, its people, and a day that goes on."""

    def __init__(self, databases) -> None:
        RuleBasedStateMachine.__init__(self)
        Verbs.__init__(self)
        self.database = databases.fresh()
        if self.database.engine.dialect.name == "sqlite":
            event.listen(self.database.engine, "connect", _hurry)
        self.now: datetime = NOW

    def teardown(self) -> None:
        self.database.dispose()

    @initialize()
    def begin(self) -> None:
        with self.database.transaction() as session:
            cast = a_cast(session)
            self.number = a_case(session, cast)
            vet = case_for(session, cast.vet.id, self.number)
            typed_readings(session, vet)
            a_limit(session, vet)
            forge = session.get(Organisation, cast.forge_id)
            self.other_farrier = a_person(session, "farrier", forge).id
            self.people = {
                "vet": cast.vet.id,
                "farrier": cast.farrier.id,
                "owner": cast.owner.id,
                "stranger": cast.other_vet.id,
            }
        self._look()

    # trying a move, and holding what comes of it against the model

    def _try(self, who, move, back=0, revision=None, act=None):
        """Try a move; return whether it was made. One that is refused leaves nothing behind."""
        self.agreeing = {}
        self.now += timedelta(minutes=1)
        day = self.now.date() - timedelta(days=back)
        verb = act or self.moves[move]
        try:
            with self.database.transaction() as session:
                access = case_for(session, self.people[who], self.number, self.now)
                verb(session, access, revision, day, self.now)
        except ReferralError as error:
            self.why = error
            return False
        return True

    def _is_late(self, revision):
        leading = {move for moves in TURN_MOVES.values() for _role, move in moves} | {"case_closed"}
        return any(seq > revision and kind in leading for seq, kind, _ in self.model.entries)

    def _made(self, who, move):
        before = len(self.model.entries)
        if move in ("plan_submitted", "plan_amended"):
            self.model.plan_n += 1
        if move in ("plan_submitted", "plan_amended", "plan_judged_again"):
            self.model.judged_on, self.model.seen_since = self.model.limit, False
        if move == "reset_recorded" and self.model.stage == "fitting":
            self.model.reset_n += 1
        self.model.agreed.update(self.agreeing)
        self.model.goes_on(who, move)
        self._look()
        assert [kind for _seq, kind, _ in self.model.entries[before:]] == [move]

    def _look(self):
        """Read the entries anew: those of before must be there as they were."""
        with self.database.reading() as session:
            rows = session.scalars(select(Entry).order_by(Entry.seq)).all()
        found = [(each.seq, each.kind, each.hash) for each in rows]
        assert found[: len(self.model.entries)] == self.model.entries
        self.model.entries = found

    def _holds(self, move):
        """Say whether what a move rests on is as it was when the plan was judged."""
        if move in ("plan_agreed", "consent_given"):
            return self.model.judged_on == self.model.limit
        return True

    @rule(steps=st.integers(1, 6))
    def go_forward(self, steps):
        """The work goes on, as far as nothing stands in its way."""
        for _step in range(steps):
            move = FORWARD[self.model.stage]
            if move == "plan_agreed" and (self.model.seen_since or not self._holds(move)):
                move = "plan_judged_again"
            role = WHOSE[self.model.stage] or "vet"
            if not self._make(role, move, 0):
                return

    @rule(data=st.data(), back=DAYS)
    def go_on(self, data, back):
        """Somebody whose move it is makes it, on the page as it stands."""
        there = sorted(TURN_MOVES[self.model.stage])
        role, move = data.draw(st.sampled_from(there))
        self._make(role, move, back)

    def _make(self, role, move, back):
        """Make a move that is due; it is refused for a reason that the model knows, or not."""
        made = self._try(role, move, back, len(self.model.entries))
        if made:
            assert self.model.may(role, move)
            self._made(role, move)
        elif self.model.may(role, move) and self._holds(move) and not self.model.seen_since:
            raise AssertionError(f"{role} may make {move} in {self.model.stage}: {self.why!r}")
        return made

    @rule(data=st.data(), who=st.sampled_from(PEOPLE), back=DAYS, old=st.integers(0, 12))
    def try_anything(self, data, who, back, old):
        """Anybody tries anything, perhaps on a page that others have moved on from."""
        move = data.draw(st.sampled_from(sorted(self.moves)))
        revision = max(1, len(self.model.entries) - old)
        late = self._is_late(revision)
        needs_page = move not in ("plan_judged_again", "recheck_set", "emergency_work_recorded")
        allowed = self.model.may(who, move) and not (late and needs_page)
        if self._try(who, move, back, revision):
            assert allowed, (who, move, self.model.stage, revision)
            self._made(who, move)

    @rule(data=st.data())
    def make_it_twice(self, data):
        """The same move again, from the same page, is made once."""
        there = sorted(TURN_MOVES[self.model.stage])
        role, move = data.draw(st.sampled_from(there))
        revision = len(self.model.entries)
        if self._try(role, move, 0, revision):
            self._made(role, move)
            assert not self._try(role, move, 0, revision)

    @rule(who=st.sampled_from(PEOPLE), back=DAYS)
    def observe(self, who, back):
        words = f"Seen {len(self.model.said)}"

        def act(session, access, _revision, day, now):
            add_observation(session, access, AddObservation("LF", "landing", words, day), now)

        if self._try(who, "observation_added", back, act=act):
            assert self.model.may(who, "observation_added")
            self.model.said.add(words)
            self.model.seen_since = True
            self._made(who, "observation_added")
        else:
            assert not self.model.may(who, "observation_added")

    @rule(who=st.sampled_from(PEOPLE), value=st.sampled_from([2.0, 3.0]))
    def change_the_limit(self, who, value):
        def act(session, access, _revision, day, now):
            (before,) = current_limits(session, access.case_id)
            given = SetLimit(
                before.measure, before.stage, value, None, before.unit, before.strength,
                before.limb, before.reason, None, day, before.id,
            )  # fmt: skip
            set_limit(session, access, given, now)

        if self._try(who, "limit_set", act=act):
            assert self.model.may(who, "limit_set")
            before = replace(self.model)
            self.model.limit_is(value)
            self.model.vet_to_see = before.vet_to_see and who != "vet"
            self._look()
        else:
            assert not self.model.may(who, "limit_set")

    @rule(who=st.sampled_from(PEOPLE))
    def raise_a_flag(self, who):
        def act(session, access, _revision, day, now):
            raise_flag(session, access, RaiseFlag("pain_after_shoeing", "LF", None, day), now)

        if self._try(who, "red_flag_raised", act=act):
            assert who != "stranger"
            with self.database.reading() as session:
                last = session.scalars(select(Entry).order_by(Entry.seq.desc()).limit(1)).one()
            self.model.live.add(last.content["flag"])
            self._made(who, "red_flag_raised")
        else:
            assert who == "stranger"

    @precondition(lambda self: self.model.live or self.model.managed)
    @rule(data=st.data(), who=st.sampled_from(PEOPLE), days=st.integers(-1, 9))
    def answer_a_flag(self, data, who, days):
        flag = data.draw(st.sampled_from(sorted(self.model.live | set(self.model.managed))))
        until = self.now.date() + timedelta(days=days) if days else None

        def act(session, access, _revision, day, now):
            answer = "managed" if until else "resolved"
            answer_flag(session, access, AnswerFlag(UUID(flag), answer, "Seen", until, day), now)

        if self._try(who, "red_flag_answered", act=act):
            assert who == "vet"
            assert days >= 0
            self.model.live.discard(flag)
            self.model.managed.pop(flag, None)
            if until:
                self.model.managed[flag] = until
            self._made(who, "red_flag_answered")
        else:
            assert who != "vet" or days < 0

    @rule(days=st.integers(1, 6))
    def days_go_by(self, days):
        self.now += timedelta(days=days)
        over = {each for each, day in self.model.managed.items() if day < self.now.date()}
        self.model.live |= over
        for each in over:
            del self.model.managed[each]

    @precondition(lambda self: self.model.plan_n and self.model.handed < MOST_HANDED)
    @rule()
    def hand_the_farriers_part_over(self):
        leaves, comes = self.people["farrier"], self.other_farrier

        def act(session, access, _revision, day, now):
            given = HandOver(Role.FARRIER, leaves, comes, day, "Away")
            hand_over(session, access, given, now)

        assert self._try("farrier", "handed_over", act=act)
        self.people["farrier"], self.other_farrier = comes, leaves
        self.model.handed += 1
        self._made("farrier", "handed_over")

    @invariant()
    def everything_is_as_it_should_be(self):
        with self.database.reading() as session:
            access = case_for(session, self.people["vet"], self.number, self.now)
            self._waits_on_whom_it_should(access.state)
            self._nothing_is_lost(session, access.case_id)
            self._agreements_are_to_what_was_agreed(session)
            self._strangers_see_nothing(session)

    def _waits_on_whom_it_should(self, state):
        assert state.stage.value == self.model.stage
        assert (state.turn.value if state.turn else None) == self.model.turn
        assert state.live_flags == self.model.live
        assert (state.plan_n, state.reset_n) == (self.model.plan_n, self.model.reset_n)

    def _nothing_is_lost(self, session, case_id):
        assert list(chain_faults(session, case_id)) == []
        rows = session.scalars(select(Entry).order_by(Entry.seq)).all()
        assert [each.seq for each in rows] == list(range(1, len(rows) + 1))
        words = {each.get("words") for each in texts_of(session, rows).values()}
        assert self.model.said <= words

    def _agreements_are_to_what_was_agreed(self, session):
        for review in session.scalars(select(Review).where(Review.decision == "agreed")):
            judgement = session.get_one(JudgementRow, review.judgement_id)
            limbs = session.scalars(select(PlanLimb).where(PlanLimb.plan_id == review.plan_id))
            content = {each.limb: dict(each.content) for each in limbs}
            sha, agreed = self.model.agreed[review.id]
            assert hashlib.sha256(judgement.basis.encode()).hexdigest() == sha
            assert review.seen_sha256 == sha
            assert json.dumps(content, sort_keys=True) == agreed

    def _strangers_see_nothing(self, session):
        for person_id in (self.people["stranger"], self.other_farrier):
            with pytest.raises(NotFound):
                case_for(session, person_id, self.number, self.now)


def test_a_whole_case_is_what_its_moves_make_it(databases):
    run_state_machine_as_test(
        lambda: WholeCase(databases),
        settings=settings(
            max_examples=8,
            stateful_step_count=35,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
