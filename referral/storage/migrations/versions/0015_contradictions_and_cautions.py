"""contradictions said with a referral, cautions acknowledged."""

import sqlalchemy as sa
from alembic import op

from referral.storage import db

revision = "0015"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("referral", schema=None) as batch_op:
        batch_op.add_column(sa.Column("contradictions", sa.JSON(), nullable=True))
        batch_op.add_column(sa.Column("contradiction_reason", sa.String(), nullable=True))
    op.create_table(
        "caution_acknowledgement",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("case_id", sa.Uuid(), nullable=False),
        sa.Column("finding_id", sa.Uuid(), nullable=False),
        sa.Column("person_id", sa.Uuid(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("acknowledged_at", db.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"], ["case.id"], name=op.f("fk_caution_acknowledgement_case_id_case")
        ),
        sa.ForeignKeyConstraint(
            ["finding_id"], ["finding.id"], name=op.f("fk_caution_acknowledgement_finding_id_finding")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_caution_acknowledgement_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_caution_acknowledgement")),
        sa.UniqueConstraint(
            "finding_id", "role", name=op.f("uq_caution_acknowledgement_finding_id_role")
        ),
    )
    with op.batch_alter_table("caution_acknowledgement", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_caution_acknowledgement_case_id"), ["case_id"], unique=False
        )


def downgrade() -> None:
    op.drop_table("caution_acknowledgement")
    with op.batch_alter_table("referral", schema=None) as batch_op:
        batch_op.drop_column("contradiction_reason")
        batch_op.drop_column("contradictions")
