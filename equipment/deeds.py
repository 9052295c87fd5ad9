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
        "equipment.acknowledge_alarm": "Alarm acknowledged",
        "equipment.check_performance": "Performance checked",
        "equipment.confirm_calibration": "Calibration confirmed",
        "equipment.decide_corrections": "Decided what corrections are for",
        "equipment.read_calibration": "Calibration read, to be confirmed",
        "equipment.set_aside_calibration": "Calibration that was read set aside",
        "equipment.enter_range": "Range entered",
        "equipment.end_range": "Range ended",
        "equipment.enter_standard": "Check standard entered",
        "equipment.record_reading": "Check standard read",
        "equipment.raise_alarm": "Alarm raised",
        "equipment.make_budget": "Uncertainty budget made",
        "equipment.keep_file": "File added",
        "equipment.log_event": "Written into the log",
        "equipment.read_list": "List of instruments read",
        "equipment.import_list": "List of instruments taken over",
        "equipment.renew_calendar": "Calendar address renewed",
        "equipment.end_calendar": "Calendar address ended",
        "equipment.set_reminders": "Reminders set",
        "equipment.send_reminder_again": "Reminder sent that may not have gone out",
        "equipment.close_reminder": "Reminder said to have arrived",
    }
)
