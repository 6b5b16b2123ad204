"""addresses that want no letters."""

import sqlalchemy as sa
from alembic import op

from referral.storage import db

revision = "0025"
down_revision = "0023"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "stopped_address",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("email_sha256", sa.String(), nullable=False),
        sa.Column("stopped_at", db.UtcDateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stopped_address")),
        sa.UniqueConstraint("email_sha256", name=op.f("uq_stopped_address_email_sha256")),
    )


def downgrade() -> None:
    op.drop_table("stopped_address")
