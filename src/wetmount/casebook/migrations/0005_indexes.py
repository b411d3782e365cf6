"""Indexes that lists and charts need when there are a hundred thousand cases."""

from django.db import migrations, models
from django.db.models import F, Q


class Migration(migrations.Migration):
    dependencies = [("casebook", "0004_outcome")]
    operations = [
        migrations.AddIndex(
            "case",
            models.Index(F("touched_at").desc(), condition=Q(deleted_at=None, closed=None), name="case_carry_on"),
        ),
        migrations.RemoveIndex("case", "case_host_group"),
        migrations.AddIndex(
            "case", models.Index(fields=["host_group", "species"], condition=Q(deleted_at=None), name="case_host")
        ),
        migrations.AddIndex(
            "case", models.Index(fields=["deleted_at"], condition=Q(deleted_at__isnull=False), name="case_deleted")
        ),
    ]
