"""people asked by letter, owners typed anew, red flags that lapse."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from alembic import op

from referral.clock import utc_now
from referral.storage import db
from referral.storage.ids import new_id

revision = '0020'
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('typed_owner',
    sa.Column('id', sa.Uuid(), nullable=False),
    sa.Column('horse_id', sa.Uuid(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('email', sa.String(), nullable=False),
    sa.Column('typed_by', sa.Uuid(), nullable=False),
    sa.Column('typed_at', db.UtcDateTime(timezone=True), nullable=False),
    sa.ForeignKeyConstraint(['horse_id'], ['horse.id'], name=op.f('fk_typed_owner_horse_id_horse')),
    sa.ForeignKeyConstraint(['typed_by'], ['person.id'], name=op.f('fk_typed_owner_typed_by_person')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_typed_owner'))
    )
    with op.batch_alter_table('typed_owner', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_typed_owner_horse_id'), ['horse_id'], unique=False)

    with op.batch_alter_table('invitation', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_invitation_asked_by_asked_at'), ['asked_by', 'asked_at'], unique=False)

    with op.batch_alter_table('invitation_end', schema=None) as batch_op:
        batch_op.alter_column('ended_by', existing_type=sa.Uuid(), nullable=True)

    with op.batch_alter_table('letter', schema=None) as batch_op:
        batch_op.add_column(sa.Column('invitation_id', sa.Uuid(), nullable=True))
        batch_op.alter_column('person_id', existing_type=sa.Uuid(), nullable=True)
        batch_op.create_index(batch_op.f('ix_letter_invitation_id'), ['invitation_id'], unique=False)
        batch_op.create_foreign_key(batch_op.f('fk_letter_invitation_id_invitation'), 'invitation', ['invitation_id'], ['id'])
        batch_op.create_check_constraint(batch_op.f('ck_letter_to_one'), "(person_id is null) <> (invitation_id is null)")

    _watch_for_lapses()


def _watch_for_lapses() -> None:
    """Have people told when red flags lapse that were answered before this was done."""
    connection, now = op.get_bind(), utc_now()
    flag, case = sa.table('red_flag', sa.column('id'), sa.column('case_id')), sa.table('case', sa.column('id'), sa.column('zone'))
    answer = sa.table('flag_answer', sa.column('id', sa.Uuid()), sa.column('flag_id'), sa.column('until', sa.Date()))
    job = sa.table('job', sa.column('id', sa.Uuid()), sa.column('kind'), sa.column('payload', sa.JSON()),
    sa.column('made_at', db.UtcDateTime()), sa.column('run_after', db.UtcDateTime()), sa.column('attempts'))
    managed = sa.select(answer.c.id, answer.c.until, case.c.zone).join(flag, flag.c.id == answer.c.flag_id)
    managed = managed.join(case, case.c.id == flag.c.case_id).where(answer.c.until.is_not(None))
    for answer_id, until, zone in connection.execute(managed).all():
        morning = datetime.combine(until + timedelta(days=1), time(7), tzinfo=ZoneInfo(zone))
        connection.execute(job.insert().values(
            id=new_id(now), kind='tell_of_lapse', payload={'answer': str(answer_id)}, made_at=now, run_after=morning, attempts=0))


def downgrade() -> None:
    op.execute("DELETE FROM job WHERE kind IN ('tell_of_lapse', 'write_to_asked')")
    op.execute("UPDATE notice SET undelivered_id = NULL WHERE undelivered_id IN (SELECT id FROM letter WHERE person_id IS NULL)")
    op.execute("DELETE FROM letter WHERE person_id IS NULL")
    with op.batch_alter_table('letter', schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f('ck_letter_to_one'), type_='check')
        batch_op.drop_constraint(batch_op.f('fk_letter_invitation_id_invitation'), type_='foreignkey')
        batch_op.drop_index(batch_op.f('ix_letter_invitation_id'))
        batch_op.alter_column('person_id', existing_type=sa.Uuid(), nullable=False)
        batch_op.drop_column('invitation_id')

    op.execute("DELETE FROM invitation_end WHERE ended_by IS NULL")
    with op.batch_alter_table('invitation_end', schema=None) as batch_op:
        batch_op.alter_column('ended_by', existing_type=sa.Uuid(), nullable=False)

    with op.batch_alter_table('invitation', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_invitation_asked_by_asked_at'))

    with op.batch_alter_table('typed_owner', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_typed_owner_horse_id'))

    op.drop_table('typed_owner')
