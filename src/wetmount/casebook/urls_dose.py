"""Addresses of doses, volumes, courses, water changes and feed; a case goes along as `?case=NUMBER`."""

from django.urls import URLPattern, path

from wetmount.casebook.views import dose, dose_changes, dose_course, dose_feed, dose_volume

urlpatterns: list[URLPattern] = [
    path("dose/", dose.page, name="dose"),
    path("dose/keep/", dose.keep, name="dose_keep"),
    path("dose/with/", dose.together, name="dose_with"),
    path("dose/volume/", dose_volume.page, name="dose_volume"),
    path("dose/volume/keep/", dose_volume.keep, name="dose_volume_keep"),
    path("dose/course/", dose_course.page, name="dose_course"),
    path("dose/changes/", dose_changes.page, name="dose_changes"),
    path("dose/feed/", dose_feed.page, name="dose_feed"),
    path("dose/tasks/", dose_changes.tasks, name="dose_tasks"),
]
