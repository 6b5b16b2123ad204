"""contradictions said with a referral."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("referral", schema=None) as batch_op:
        batch_op.add_column(sa.Column("contradictions", sa.JSON(), nullable=True))
        batch_op.add_column(sa.Column("contradiction_reason", sa.String(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("referral", schema=None) as batch_op:
        batch_op.drop_column("contradiction_reason")
        batch_op.drop_column("contradictions")
