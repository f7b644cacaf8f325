import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("inventory", "0006_charger_rows")]

    operations = [
        migrations.AlterField(
            model_name="charge",
            name="charger",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="charges",
                to="inventory.charger",
            ),
        ),
        migrations.RemoveField(model_name="charge", name="charger_name"),
        migrations.RemoveField(model_name="historicalcharge", name="charger_name"),
        migrations.AddConstraint(
            model_name="charge",
            constraint=models.UniqueConstraint(
                condition=models.Q(("ended_at__isnull", True)),
                fields=("charger",),
                name="charge_one_open_per_charger",
                violation_error_message="Another battery is on this charger. Take that one off first.",
            ),
        ),
    ]
