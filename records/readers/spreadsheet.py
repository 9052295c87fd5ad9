from records.readers.refusals import RecordDamaged


def preview(order):
    raise RecordDamaged("The file is a zip container, not a spreadsheet.")


read = preview
