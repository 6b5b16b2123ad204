"""codes for signing."""

import sqlalchemy as sa
from alembic import op

from referral.storage import db

revision = '0010'
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('second_factor',
    sa.Column('id', sa.Uuid(), nullable=False),
    sa.Column('person_id', sa.Uuid(), nullable=False),
    sa.Column('wrapped_secret', sa.String(), nullable=True),
    sa.Column('begun_at', db.UtcDateTime(timezone=True), nullable=False),
    sa.Column('confirmed_at', db.UtcDateTime(timezone=True), nullable=True),
    sa.Column('removed_at', db.UtcDateTime(timezone=True), nullable=True),
    sa.Column('last_step', sa.Integer(), nullable=True),
    sa.Column('wrong_codes', sa.Integer(), nullable=False),
    sa.Column('wrong_at', db.UtcDateTime(timezone=True), nullable=True),
    sa.ForeignKeyConstraint(['person_id'], ['person.id'], name=op.f('fk_second_factor_person_id_person')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_second_factor'))
    )
    with op.batch_alter_table('second_factor', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_second_factor_person_id'), ['person_id'], unique=False)


def downgrade() -> None:
    with op.batch_alter_table('second_factor', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_second_factor_person_id'))
    op.drop_table('second_factor')
