"""Rooms in time: signs, deaths and checks by tank and day, what tanks share, and traces kept."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("casebook", "0009_put_down_to"),
    ]

    operations = [
        migrations.AddField(
            model_name="tank",
            name="place",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="tank",
            name="row",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="tank",
            name="since",
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="tank",
            name="turn",
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name="move",
            name="kind",
            field=models.CharField(
                choices=[
                    ("fish", "fish moved"),
                    ("net", "net or tool shared"),
                    ("water", "water carried over"),
                    ("plants", "plants or stones moved"),
                    ("other", "something else that was wet"),
                ],
                default="fish",
                max_length=10,
            ),
        ),
        migrations.CreateModel(
            name="TankCheck",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.BigIntegerField(default=0, editable=False)),
                ("on", models.DateField()),
                ("examination", models.CharField(default="tank_look", max_length=200)),
                ("fish", models.PositiveIntegerField(blank=True, null=True)),
                ("found", models.BooleanField()),
                ("condition", models.CharField(blank=True, max_length=200)),
                ("note", models.TextField(blank=True)),
                (
                    "tank",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="checks", to="casebook.tank"
                    ),
                ),
            ],
            options={
                "ordering": ("on", "id"),
            },
        ),
        migrations.CreateModel(
            name="TankGroup",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.BigIntegerField(default=0, editable=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("tool", "net, bucket or hose"),
                            ("worker", "person"),
                            ("feed", "feed"),
                            ("watch", "watch kept"),
                        ],
                        max_length=6,
                    ),
                ),
                ("name", models.CharField(max_length=200)),
                ("since", models.DateField(blank=True, null=True)),
                ("until", models.DateField(blank=True, null=True)),
                ("every_days", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("note", models.TextField(blank=True)),
                (
                    "room",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="groups", to="casebook.fishroom"
                    ),
                ),
            ],
            options={
                "ordering": ("kind", "name", "id"),
            },
        ),
        migrations.CreateModel(
            name="TankSign",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.BigIntegerField(default=0, editable=False)),
                ("on", models.DateField()),
                (
                    "kind",
                    models.CharField(choices=[("signs", "signs"), ("deaths", "deaths")], default="signs", max_length=6),
                ),
                ("number", models.PositiveIntegerField(blank=True, null=True)),
                ("not_before", models.DateField(blank=True, null=True)),
                ("condition", models.CharField(blank=True, max_length=200)),
                ("note", models.TextField(blank=True)),
                (
                    "tank",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="signs", to="casebook.tank"
                    ),
                ),
            ],
            options={
                "ordering": ("on", "id"),
            },
        ),
        migrations.CreateModel(
            name="TankInGroup",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.BigIntegerField(default=0, editable=False)),
                (
                    "group",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="members", to="casebook.tankgroup"
                    ),
                ),
                (
                    "tank",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="groups", to="casebook.tank"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("group", "tank"), name="tank_once_in_group")],
            },
        ),
        migrations.CreateModel(
            name="TraceCache",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("condition", models.CharField(max_length=200)),
                ("key", models.CharField(max_length=64)),
                ("result", models.JSONField()),
                ("made_at", models.DateTimeField()),
                (
                    "room",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="traces", to="casebook.fishroom"
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("room", "condition"), name="one_trace_in_room")],
            },
        ),
    ]
