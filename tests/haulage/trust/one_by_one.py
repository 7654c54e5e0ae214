"""The exact engine run trial by trial: what the trials taken all at once are held against."""

from __future__ import annotations

from dataclasses import replace

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile, route_profile
from gradehaul.haulage.train import Block, Train
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan.records import Car, Loco, Plan
from gradehaul.quantities import Reading


class OneByOne:
    """A layout and the figures of each draw."""

    def __init__(self, layout: Layout, trials: RandomTrials) -> None:
        self.layout, self.trials, self.plan = layout, trials, layout.plan
        self.cars = {name: self._car_columns(car) for name, car in self.plan.cars.items()}
        self.pulls = {
            (name, rail): (trials.standing(loco, rail), trials.slipping(loco, rail))
            for name, loco in self.plan.locos.items()
            for rail in layout.rails
            if not rail.startswith("as planned")
        }

    def _car_columns(self, car: Car):
        return self.trials.mass(self.trials.mass_cause(car)), self.trials.rolling(car), self.trials.starting(car)

    def plan_of(self, number: int) -> Plan:
        """The plan with every figure as one draw has it."""
        cars = {}
        for name, car in self.plan.cars.items():
            mass, rolling, starting = self.cars[name]
            cars[name] = replace(
                car,
                mass=car.mass * float(mass[number]),
                rolling=Reading(float(rolling[number])),
                starting=Reading(float(starting[number])),
            )
        locos = {}
        for name, loco in self.plan.locos.items():
            own = {rail: columns for (who, rail), columns in self.pulls.items() if who == name}
            standing = {rail: (Reading(float(columns[0][number])),) for rail, columns in own.items()}
            slipping = {rail: (Reading(float(columns[1][number])),) for rail, columns in own.items()}
            locos[name] = replace(loco, pull=standing, slipping=slipping)
        return replace(self.plan, cars=cars, locos=locos)

    def profile(self, route: str, number: int) -> RouteProfile:
        """The route with the curve coefficient of one draw."""
        coefficient = float(self.trials.curve[number])
        starting = float(self.trials.starting_curve[number]) / coefficient
        curves = replace(self.layout.curves, coefficient=coefficient, starting=starting)
        return route_profile(self.layout._ways, self.layout.route(route), curves)

    def train(self, train: Train, plan: Plan, number: int) -> Train:
        """The train with the vehicles and the pulling together of one draw."""
        stock: dict[str, Car | Loco] = {**plan.cars, **plan.locos}
        together = self.trials.together(train.together, train.together_basis)
        share = train.together if together is None else float(together[number])
        blocks = tuple(Block(stock[block.vehicle.name], block.count) for block in train.blocks)
        return Train(blocks, share, "stated")

    def pulls_of(self, plan: Plan) -> Pulls:
        return Pulls(plan)
