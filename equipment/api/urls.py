"""Addresses of what exists and where it is, below /api/v1/."""

from django.urls import path

from equipment.api import banks, components, instruments, rigs, stacks, wells

app_name = "equipment_api"
urlpatterns = [
    path("rigs/", rigs.Rigs.as_view(), name="rigs"),
    path("rigs/<int:rig_pk>/", rigs.RigByKey.as_view(), name="rig"),
    path("rigs/<int:rig_pk>/crew/", rigs.Crew.as_view(), name="crew"),
    path("rigs/<int:rig_pk>/wells/", wells.Wells.as_view(), name="wells"),
    path("rigs/<int:rig_pk>/sections/", wells.SectionsOfRig.as_view(), name="sections-of-rig"),
    path("rigs/<int:rig_pk>/stacks/", stacks.Stacks.as_view(), name="stacks"),
    path("rigs/<int:rig_pk>/control-items/", stacks.Controls.as_view(), name="control-items"),
    path("rigs/<int:rig_pk>/components/", components.Components.as_view(), name="components"),
    path("rigs/<int:rig_pk>/instruments/", instruments.Instruments.as_view(), name="instruments"),
    path("rigs/<int:rig_pk>/banks/", banks.Banks.as_view(), name="banks"),
    path("wells/<int:pk>/", wells.WellByKey.as_view(), name="well"),
    path("wells/<int:pk>/sections/", wells.SectionsOfWell.as_view(), name="sections"),
    path("sections/<int:pk>/", wells.SectionByKey.as_view(), name="section"),
    path("stacks/<int:pk>/", stacks.StackByKey.as_view(), name="stack"),
    path("stacks/<int:pk>/as-installed/", stacks.AsInstalled.as_view(), name="as-installed"),
    path("stacks/<int:pk>/positions/", stacks.Positions.as_view(), name="positions"),
    path("positions/<int:pk>/", stacks.PositionByKey.as_view(), name="position"),
    path("positions/<int:pk>/installations/", stacks.InstallationsOfPosition.as_view(), name="of-position"),
    path("installations/<int:pk>/", stacks.InstallationByKey.as_view(), name="installation"),
    path("installations/<int:pk>/removal/", stacks.Removal.as_view(), name="removal"),
    path("components/<int:pk>/", components.ComponentByKey.as_view(), name="component"),
    path("components/<int:pk>/retirement/", components.Retirement.as_view(), name="retirement"),
    path("components/<int:pk>/installations/", stacks.InstallationsOfComponent.as_view(), name="of-component"),
    path("components/<int:pk>/elastomers/", components.Elastomers.as_view(), name="elastomers"),
    path("components/<int:pk>/service/", components.ServiceEvents.as_view(), name="service"),
    path("components/<int:pk>/documents/", components.DocumentsOfComponent.as_view(), name="component-documents"),
    path("instruments/<int:pk>/", instruments.InstrumentByKey.as_view(), name="instrument"),
    path("instruments/<int:pk>/documents/", components.DocumentsOfInstrument.as_view(), name="instrument-documents"),
    path("documents/<int:pk>/", components.DocumentByKey.as_view(), name="document"),
    path("banks/<int:pk>/", banks.BankByKey.as_view(), name="bank"),
    path("banks/<int:pk>/bottles/", banks.Bottles.as_view(), name="bottles"),
    path("banks/<int:pk>/precharge-checks/", banks.PrechargeChecks.as_view(), name="precharge-checks"),
    path("banks/<int:pk>/precharge-readings/", banks.PrechargeReadings.as_view(), name="precharge-readings"),
]
