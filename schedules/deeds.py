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
        "authorisation.corrected": "Authorisation corrected",
        "bay.corrected": "Bay corrected",
        "pack.written": "Rule pack written",
        "pack.changed": "Rule pack changed",
        "pack.confirmed": "Rule pack confirmed",
        "pack.used": "Rule pack used for the first time",
        "pack.retired": "Rule pack taken out of use",
        "pack.row_confirmed": "Row confirmed against the licensed copy",
        "rules.policy": "What unconfirmed rows block",
        "step.carried": "Runs carried over from the earlier revision",
        "step.reviewed": "Step of a new revision reviewed",
        "unit.finished": "Unit finished",
    }
)
