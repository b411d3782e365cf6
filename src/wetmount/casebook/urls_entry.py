"""Addresses of a case: its pages in the order of work, and what is entered on them."""

from django.urls import URLPattern, path

from wetmount.casebook.views import entry, entry_aid, entry_findings, entry_fish, entry_history, entry_water, files

urlpatterns: list[URLPattern] = [
    path("case/<int:number>/", entry.case, name="case"),
    path("case/<int:number>/touched/", entry.touched, name="touched"),
    # findings
    path("case/<int:number>/finding/", entry_findings.finding, name="finding"),
    path("case/<int:number>/sweep/", entry_findings.sweep, name="sweep"),
    path("case/<int:number>/unsweep/", entry_findings.unsweep, name="unsweep"),
    path("case/<int:number>/entry/<int:pk>/", entry_findings.entry, name="entry"),
    path("case/<int:number>/examination/", entry_findings.begin_examination, name="begin_examination"),
    path("case/<int:number>/examination/<int:pk>/", entry_findings.examination, name="examination"),
    path(
        "case/<int:number>/examination/<int:pk>/remove/",
        entry_findings.remove_examination,
        name="remove_examination",
    ),
    path("case/<int:number>/examination/<int:pk>/slide/", entry_findings.add_slide, name="add_slide"),
    path("case/<int:number>/slide/<int:pk>/remove/", entry_findings.remove_slide, name="remove_slide"),
    # first aid, history, water
    path("case/<int:number>/red-flag/", entry_aid.red_flag, name="red_flag"),
    path("case/<int:number>/answer/", entry_history.history, name="answer"),
    path("case/<int:number>/numbers/", entry_history.numbers, name="numbers"),
    path("case/<int:number>/batch/", entry_history.told_batch, name="told_batch"),
    path("case/<int:number>/batch/<int:pk>/remove/", entry_history.remove_told_batch, name="remove_told_batch"),
    path("case/<int:number>/note/", entry_history.note, name="note"),
    path("case/<int:number>/note/<int:pk>/", entry_history.change_note, name="change_note"),
    path("case/<int:number>/reading/", entry_water.reading, name="reading"),
    # fish, looks, the head, following up
    path("case/<int:number>/fish/", entry_fish.add_fish, name="add_fish"),
    path("case/<int:number>/fish/<int:pk>/", entry_fish.fish, name="fish"),
    path("case/<int:number>/fish/<int:pk>/remove/", entry_fish.remove_fish, name="remove_fish"),
    path("case/<int:number>/look/", entry_fish.begin_look, name="begin_look"),
    path("case/<int:number>/look/<int:pk>/", entry_fish.look, name="look"),
    path("case/<int:number>/look/<int:pk>/remove/", entry_fish.remove_look, name="remove_look"),
    path("case/<int:number>/head/", entry_fish.head, name="head"),
    path("case/<int:number>/task/", entry_fish.add_task, name="add_task"),
    path("case/<int:number>/task/<int:pk>/", entry_fish.finish_task, name="finish_task"),
    path("case/<int:number>/cause/", entry_fish.set_cause, name="set_cause"),
    path("case/<int:number>/addendum/", entry_fish.addendum, name="addendum"),
    # files
    path("case/<int:number>/files/", files.add_files, name="add_files"),
    path("case/<int:number>/file/<int:pk>/", files.file, name="file"),
    path("case/<int:number>/file/<int:pk>/remove/", files.remove_file, name="remove_file"),
    path("file/<int:pk>/<slug:which>/", files.bytes_of, name="bytes_of"),
    path("case/<int:number>/<slug:step>/", entry.case_step, name="case_step"),
]
