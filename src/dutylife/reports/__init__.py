"""Tables of a run to pages, workbook and calendar. The only folder that draws."""
