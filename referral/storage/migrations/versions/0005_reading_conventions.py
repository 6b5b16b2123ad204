"""reading conventions.

Readings from before have none: what the definitions were at their time was not kept, and is not
made up from those of today.
"""

import sqlalchemy as sa
from alembic import op

revision = '0005'
down_revision = '0004'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('reading', schema=None) as batch_op:
        batch_op.add_column(sa.Column('convention', sa.JSON(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table('reading', schema=None) as batch_op:
        batch_op.drop_column('convention')
