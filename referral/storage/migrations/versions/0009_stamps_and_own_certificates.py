"""who stamped a signature, and certificates that signers bring."""

import sqlalchemy as sa
from alembic import op

from referral.storage import db

revision = '0009'
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('signature', schema=None) as batch_op:
        batch_op.add_column(sa.Column('stamped_by', sa.String(), nullable=True))
        batch_op.drop_column('stamp_fault')

    op.create_table('own_certificate',
    sa.Column('id', sa.Uuid(), nullable=False),
    sa.Column('person_id', sa.Uuid(), nullable=False),
    sa.Column('name', sa.String(), nullable=False),
    sa.Column('issuer', sa.String(), nullable=False),
    sa.Column('serial', sa.String(), nullable=False),
    sa.Column('certificate_pem', sa.Text(), nullable=False),
    sa.Column('chain_pem', sa.Text(), nullable=False),
    sa.Column('wrapped_key', sa.Text(), nullable=True),
    sa.Column('expires_at', db.UtcDateTime(timezone=True), nullable=False),
    sa.Column('added_at', db.UtcDateTime(timezone=True), nullable=False),
    sa.Column('removed_at', db.UtcDateTime(timezone=True), nullable=True),
    sa.ForeignKeyConstraint(['person_id'], ['person.id'], name=op.f('fk_own_certificate_person_id_person')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_own_certificate'))
    )
    with op.batch_alter_table('own_certificate', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_own_certificate_person_id'), ['person_id'], unique=False)


def downgrade() -> None:
    with op.batch_alter_table('own_certificate', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_own_certificate_person_id'))
    op.drop_table('own_certificate')

    with op.batch_alter_table('signature', schema=None) as batch_op:
        batch_op.add_column(sa.Column('stamp_fault', sa.String(), nullable=True))
        batch_op.drop_column('stamped_by')
