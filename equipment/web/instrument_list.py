"""The list of test instruments."""

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.units import Dimension
from equipment.models import Instrument
from equipment.queries.instruments import expiry_on
from equipment.web.columns import DayColumn, ListTable, QuantityColumn


class InstrumentTable(ListTable):
    """Instruments with how their calibration stands."""

    serial = tables.Column("Serial", linkify=lambda record: reverse("equipment:instrument", args=[record.pk]))
    kind = tables.Column("Kind")
    range_low = QuantityColumn(Dimension.PRESSURE, "From", order_by=("range_low_si",))
    range_high = QuantityColumn(Dimension.PRESSURE, "To", order_by=("range_high_si",))
    accuracy_percent = tables.Column(
        "Accuracy, % of full scale", attrs={"th": {"class": "num"}, "td": {"class": "num"}}
    )
    calibration = tables.Column("Calibration", accessor="calibration_due_on", empty_values=())
    calibration_due_on = DayColumn("Due")
    certificate_number = tables.Column("Certificate")

    class Meta:
        empty_text = "No instrument passes this filter. Register the gauge or recorder the next test is read from."
        default = "–"

    def render_accuracy_percent(self, value: Any) -> str:
        """Return the figure without zeros at its end."""
        return f"{value.normalize():f}"

    def render_calibration(self, record: Instrument) -> SafeString:
        """Return how the calibration stands, in words."""
        if record.retired_on:
            return state("out-of-service")
        found = expiry_on(self.today, due=record.calibration_due_on) if self.today else None
        return state(found.state, found.words) if found else state("unknown")

    def value_calibration(self, record: Instrument) -> str:
        """Return the same for an export."""
        if record.retired_on:
            return "Out of service"
        return expiry_on(self.today, due=record.calibration_due_on).words if self.today else ""
