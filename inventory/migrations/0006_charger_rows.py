from django.db import migrations


def chargers_of_names(apps, schema_editor):
    """A charger per name that was typed so far.

    A name on which several batteries are charging at once is a charger with several outputs: the further ones
    become outputs of their own, since one output charges one battery.
    """
    charger_rows, charges = (apps.get_model("inventory", name).objects for name in ("Charger", "Charge"))
    known = {}

    def charger(team_id, name):
        key = (team_id, name)
        if key not in known:
            # No semicolons: lists of chargers are split at them.
            row, _ = charger_rows.get_or_create(team_id=team_id, name=name.replace(";", ","))
            known[key] = row.pk
        return known[key]

    for team_id, name in (
        charges.order_by("team_id", "charger_name").values_list("team_id", "charger_name").distinct()
    ):
        charges.filter(team_id=team_id, charger_name=name).update(charger_id=charger(team_id, name))
    in_use = set()
    for charge in charges.filter(ended_at=None).order_by("started_at", "pk"):
        output, name = 2, charge.charger_name
        while charge.charger_id in in_use:
            name = f"{charge.charger_name[:54]} ({output})"
            charge.charger_id, output = charger(charge.team_id, name), output + 1
        in_use.add(charge.charger_id)
        charges.filter(pk=charge.pk).update(charger_id=charge.charger_id)
    then = apps.get_model("inventory", "HistoricalCharge").objects
    for (team_id, name), pk in known.items():
        then.filter(team_id=team_id, charger_name=name).update(charger_id=pk)


def names_of_chargers(apps, schema_editor):
    """Backwards: the charger's name into each charge; what else was known of chargers is lost."""
    names = dict(apps.get_model("inventory", "Charger").objects.values_list("pk", "name"))
    for model in ("Charge", "HistoricalCharge"):
        rows = apps.get_model("inventory", model).objects
        for pk, name in names.items():
            rows.filter(charger_id=pk).update(charger_name=name)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0005_battery_life")]

    operations = [migrations.RunPython(chargers_of_names, names_of_chargers)]
