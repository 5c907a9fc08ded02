"""What exists and where it is: rigs, wells, stacks, components, installations, instruments, documents, crew."""

from django.apps import AppConfig


class EquipmentConfig(AppConfig):
    name = "equipment"

    def ready(self) -> None:
        from equipment.guards import INSTALLATION_GUARDS, PRECHARGE_GUARDS, SYSTEM_GUARDS
        from trail import guards

        guards.register(*INSTALLATION_GUARDS, *PRECHARGE_GUARDS, *SYSTEM_GUARDS)
