"""Plans of looks: what was chosen to be done, and the tasks that came of it."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("casebook", "0007_volume_range"),
    ]

    operations = [
        migrations.AlterField(
            model_name="taskdue",
            name="kind",
            field=models.CharField(
                choices=[
                    ("look_again", "look again"),
                    ("dose", "dose"),
                    ("water_change", "water change"),
                    ("reading", "reading"),
                    ("result", "result awaited"),
                    ("news", "no news from the keeper"),
                    ("quarantine", "end of quarantine"),
                    ("plan", "step of the plan"),
                ],
                max_length=20,
            ),
        ),
        migrations.CreateModel(
            name="PlanChoice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.BigIntegerField(default=0, editable=False)),
                ("by", models.CharField(blank=True, max_length=200)),
                ("why", models.TextField(blank=True)),
                ("chosen_on", models.DateField(blank=True, null=True)),
                ("first", models.DateField(blank=True, null=True)),
                ("reference", models.CharField(blank=True, max_length=200)),
                ("volume", models.CharField(blank=True, max_length=60)),
                (
                    "water",
                    models.CharField(
                        blank=True, choices=[("fresh", "fresh water"), ("sea", "sea water")], max_length=5
                    ),
                ),
                ("others", models.JSONField(blank=True, default=list)),
                ("living", models.JSONField(blank=True, default=dict)),
                ("lawful_here", models.BooleanField(blank=True, null=True)),
                ("agents", models.JSONField(blank=True, default=dict)),
                (
                    "look",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE, related_name="plan", to="casebook.look"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="taskdue",
            name="plan",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="tasks",
                to="casebook.planchoice",
            ),
        ),
        migrations.CreateModel(
            name="PlanStep",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.BigIntegerField(default=0, editable=False)),
                ("place", models.PositiveSmallIntegerField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("husbandry", "husbandry"),
                            ("treat", "treatment"),
                            ("examine", "examine more"),
                            ("watch", "watch"),
                            ("refer", "refer"),
                            ("relieve", "relieve suffering"),
                            ("look", "look again"),
                            ("own", "in own words"),
                        ],
                        default="own",
                        max_length=12,
                    ),
                ),
                ("option", models.CharField(blank=True, max_length=200)),
                ("text", models.TextField()),
                (
                    "urgency",
                    models.CharField(
                        choices=[("now", "at once"), ("lasting", "from now on")], default="now", max_length=8
                    ),
                ),
                ("days", models.JSONField(blank=True, default=list)),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="steps", to="casebook.planchoice"
                    ),
                ),
            ],
            options={
                "ordering": ("place", "id"),
            },
        ),
    ]
