"""Ids of entries that pages sent, so that none is written twice."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("casebook", "0002_append_only_and_search")]
    operations = [
        migrations.CreateModel(
            name="Received",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("at", models.DateTimeField()),
            ],
        ),
    ]
