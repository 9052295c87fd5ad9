"""What the history calls the deeds of the instrument room."""

from labsite.ledger.wording import name_deeds

name_deeds(
    {
        "equipment.enter_instrument": "Instrument entered",
        "equipment.edit_instrument": "Instrument changed",
        "equipment.change_state": "State changed",
        "equipment.enter_calibration": "Calibration entered",
        "equipment.assign_system": "Measuring system assigned",
        "equipment.end_system": "Measuring system ended",
        "equipment.remember_columns": "Columns of its files remembered",
        "instrument.remember_columns": "Columns of its files remembered",
    }
)
