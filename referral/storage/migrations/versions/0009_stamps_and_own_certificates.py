"""who stamped a signature."""

import sqlalchemy as sa
from alembic import op

revision = '0009'
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('signature', schema=None) as batch_op:
        batch_op.add_column(sa.Column('stamped_by', sa.String(), nullable=True))
        batch_op.drop_column('stamp_fault')


def downgrade() -> None:
    with op.batch_alter_table('signature', schema=None) as batch_op:
        batch_op.add_column(sa.Column('stamp_fault', sa.String(), nullable=True))
        batch_op.drop_column('stamped_by')
