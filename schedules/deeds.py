"""What the history calls the deeds of orders, units and plans."""

from labsite.ledger.wording import name_deeds

name_deeds(
    {
        "order.entered": "Order entered",
        "order.changed": "Order changed",
        "order.reviewed": "Contract reviewed",
        "unit.entered": "Unit entered",
        "unit.changed": "Unit changed",
        "unit.photograph_added": "Photograph added",
        "plan.adopted": "Plan adopted",
        "plan.replaced": "Plan replaced",
        "step.released": "Hold point released",
        "bay.entered": "Bay entered",
        "authorisation.granted": "Authorisation granted",
        "authorisation.ended": "Authorisation ended",
    }
)
