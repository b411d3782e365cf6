"""The confirmed causes of a case beside it, so that charts count a hundred thousand cases from one index."""

from collections import defaultdict
from importlib import import_module

from django.db import migrations, models
from django.db.models import Q

outcome = import_module("wetmount.casebook.migrations.0004_outcome")


def fill(apps, editor):
    confirmed = defaultdict(list)
    causes = apps.get_model("casebook", "CaseCause").objects.filter(standing="confirmed").order_by("pk")
    for case, condition in causes.values_list("case", "condition"):
        confirmed[case].append(condition)
    cases = apps.get_model("casebook", "Case")._base_manager
    for case, conditions in confirmed.items():
        cases.filter(pk=case).update(put_down_to=",".join(conditions))


class Migration(migrations.Migration):
    dependencies = [("casebook", "0008_plans")]
    operations = [
        migrations.RunPython(outcome.guards_aside, outcome.guards_back),
        migrations.AddField("case", "put_down_to", models.TextField(blank=True, default=""), preserve_default=False),
        migrations.AddIndex(
            "case",
            models.Index(fields=["put_down_to", "leading"], condition=Q(deleted_at=None), name="case_causes"),
        ),
        migrations.RunPython(outcome.guards_back, outcome.guards_aside),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
