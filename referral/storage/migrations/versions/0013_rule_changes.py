"""rule changes."""

import sqlalchemy as sa
from alembic import op

from referral.storage import db

revision = '0013'
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('rule_change',
    sa.Column('id', sa.Uuid(), nullable=False),
    sa.Column('organisation_id', sa.Uuid(), nullable=False),
    sa.Column('rule', sa.String(), nullable=False),
    sa.Column('stance', sa.String(), nullable=False),
    sa.Column('since', sa.Date(), nullable=False),
    sa.Column('reason', sa.Text(), nullable=False),
    sa.Column('evidence', sa.String(), nullable=True),
    sa.Column('source', sa.String(), nullable=True),
    sa.Column('limits', sa.JSON(), nullable=True),
    sa.Column('topic', sa.String(), nullable=True),
    sa.Column('text', sa.Text(), nullable=True),
    sa.Column('set_by', sa.Uuid(), nullable=False),
    sa.Column('set_at', db.UtcDateTime(timezone=True), nullable=False),
    sa.CheckConstraint("stance in ('limits', 'off', 'shipped', 'own')", name=op.f('ck_rule_change_stance_known')),
    sa.ForeignKeyConstraint(['organisation_id'], ['organisation.id'], name=op.f('fk_rule_change_organisation_id_organisation')),
    sa.ForeignKeyConstraint(['set_by'], ['person.id'], name=op.f('fk_rule_change_set_by_person')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_rule_change'))
    )
    with op.batch_alter_table('rule_change', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_rule_change_organisation_id_rule'), ['organisation_id', 'rule'], unique=False)


def downgrade() -> None:
    with op.batch_alter_table('rule_change', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_rule_change_organisation_id_rule'))

    op.drop_table('rule_change')
