"""Addresses of the plan of a case and its papers."""

from django.urls import URLPattern, path

from wetmount.casebook.views import plan, plan_papers

urlpatterns: list[URLPattern] = [
    path("case/<int:number>/plan/", plan.page, name="plan"),
    path("case/<int:number>/plan/water/", plan.water, name="plan_water"),
    path("case/<int:number>/plan/choose/", plan.choose, name="plan_choose"),
    path("case/<int:number>/plan/step/", plan.add_step, name="plan_add_step"),
    path("case/<int:number>/plan/step/<int:pk>/", plan.step, name="plan_step"),
    path("case/<int:number>/plan/step/<int:pk>/remove/", plan.remove_step, name="plan_remove_step"),
    path("case/<int:number>/plan/agent/<slug:treatment>/", plan.agent, name="plan_agent"),
    path("case/<int:number>/plan/days/", plan.days, name="plan_days"),
    path("case/<int:number>/plan/today/", plan.today, name="plan_today"),
    path("case/<int:number>/plan/keeper/", plan_papers.keeper, name="plan_keeper"),
    path("case/<int:number>/plan/log/", plan_papers.log, name="plan_log"),
    path("case/<int:number>/plan/calendar/", plan_papers.calendar, name="plan_calendar"),
    path("case/<int:number>/plan/parcel/", plan_papers.parcel, name="plan_parcel"),
    path("case/<int:number>/plan/prevention/", plan_papers.prevent, name="plan_prevention"),
]
