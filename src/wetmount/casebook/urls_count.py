"""Addresses of counting, identifying, sampling, forecasting and quarantine; each with a case and without."""

from django.urls import URLPattern, path

from wetmount.casebook.views import count, count_results, count_sample, forecast, identify, quarantine

urlpatterns: list[URLPattern] = [
    path("count/", count.choose, name="count"),
    path("count/slide/", count.quick, name="count_quick"),
    path("count/tally/", count.tally, name="count_tally"),
    path("case/<int:number>/count/", count.choose, name="count_case"),
    path("case/<int:number>/count/new/<int:pk>/", count.new, name="count_new"),
    path("case/<int:number>/count/save/<int:pk>/", count.save, name="count_save"),
    path("case/<int:number>/count/slide/<int:pk>/", count.slide, name="count_slide"),
    path("identify/", identify.page, name="identify"),
    path("case/<int:number>/identify/", identify.page, name="identify_case"),
    path("case/<int:number>/identify/enter/", identify.enter, name="identify_enter"),
    path("forecast/", forecast.page, name="forecast"),
    path("forecast/days/", forecast.timing, name="forecast_timing"),
    path("forecast/days/stop/", forecast.stop_timing, name="forecast_timing_stop"),
    path("forecast/schedule/", forecast.schedule, name="forecast_schedule"),
    path("case/<int:number>/forecast/", forecast.page, name="forecast_case"),
    path("case/<int:number>/forecast/days/", forecast.timing, name="forecast_timing_case"),
    path("case/<int:number>/forecast/days/stop/", forecast.stop_timing, name="forecast_timing_stop_case"),
    path("case/<int:number>/forecast/schedule/", forecast.schedule, name="forecast_schedule_case"),
    path("count/fish/", count_results.results, name="count_results"),
    path("case/<int:number>/count/fish/", count_results.results, name="count_results_case"),
    path("sample/", count_sample.sample, name="sample"),
    path("case/<int:number>/sample/", count_sample.sample, name="sample_case"),
    path("quarantine/", quarantine.leave, name="quarantine"),
    path("quarantine/delivery/", quarantine.delivery, name="delivery"),
    path("quarantine/schedule/", quarantine.schedule, name="quarantine_schedule"),
]
