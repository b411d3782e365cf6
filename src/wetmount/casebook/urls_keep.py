"""Addresses of keeping: record, closing, deleting and bringing back, backup, archives, the table."""

from django.urls import URLPattern, path

from wetmount.casebook.views import keep

urlpatterns: list[URLPattern] = [
    path("case/<int:number>/record/", keep.record, name="record"),
    path("case/<int:number>/record/<int:pk>/back/", keep.bring_back, name="bring_back"),
    path("case/<int:number>/close/", keep.close_case, name="close_case"),
    path("case/<int:number>/delete/", keep.delete_case, name="delete_case"),
    path("case/<int:number>/export/", keep.export_case, name="export_case"),
    path("cases/table/", keep.table, name="cases_table"),
    path("keeping/", keep.keeping, name="keeping"),
    path("keeping/backup/", keep.backup, name="backup"),
    path("keeping/import/", keep.import_archive, name="import_archive"),
    path("keeping/record/", keep.other_record, name="other_record"),
    path("keeping/deleted/", keep.deleted, name="deleted"),
    path("keeping/deleted/<int:number>/back/", keep.undelete, name="undelete"),
]
