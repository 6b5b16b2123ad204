"""what a notice tells of."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("notice", schema=None) as batch_op:
        batch_op.add_column(sa.Column("facts", sa.JSON(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("notice", schema=None) as batch_op:
        batch_op.drop_column("facts")
