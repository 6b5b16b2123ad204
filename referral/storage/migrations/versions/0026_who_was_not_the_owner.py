"""who was not the owner."""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("typed_owner", schema=None) as batch_op:
        batch_op.add_column(sa.Column("instead_of", sa.Uuid(), nullable=True))
        batch_op.create_foreign_key(
            batch_op.f("fk_typed_owner_instead_of_person"), "person", ["instead_of"], ["id"]
        )


def downgrade() -> None:
    with op.batch_alter_table("typed_owner", schema=None) as batch_op:
        batch_op.drop_constraint(
            batch_op.f("fk_typed_owner_instead_of_person"), type_="foreignkey"
        )
        batch_op.drop_column("instead_of")
