/*
 * What an owner looks for when a role lacks a channel: which quantity, where in the
 * plant, by what words it goes and in what range it lies. Ranges are those of homes
 * (common practice of the trade).
 */
#include <heatbook/config.h>

#include <assert.h>

const char *role_hint(enum role role)
{
	static const char *const hints[ROLE_COUNT] = {
		[ROLE_PLAIN] = "",
		[ROLE_FLOW_TEMPERATURE] = "water from the unit to the house: flow, "
					  "supply, leaving, out; 20 "
					  "to 60 °C",
		[ROLE_RETURN_TEMPERATURE] = "water from the house back to the unit: "
					    "return, entering, back, in; "
					    "some K below the flow while it runs",
		[ROLE_FLOW_RATE] = "water that moves in the circuit: flow rate, volume "
				   "flow; 5 to 40 "
				   "L/min, 0 at rest",
		[ROLE_WATER_PRESSURE] =
			"gauge pressure of the heating circuit; 0.5 to 3 bar",
		[ROLE_OUTDOOR_TEMPERATURE] =
			"outside, ambient, weather: the unit's own sensor or a weather "
			"station in the shade",
		[ROLE_OUTDOOR_HUMIDITY] = "relative humidity outside, %",
		[ROLE_ROOM_TEMPERATURE] =
			"the room that speaks for the house, such as the living room",
		[ROLE_CYLINDER_TEMPERATURE] =
			"hot-water cylinder, tank, domestic hot water; 35 to 65 °C",
		[ROLE_TARGET_FLOW_TEMPERATURE] = "what the control wants of the flow: "
						 "target, setpoint, desired; 20 "
						 "to 60 °C",
		[ROLE_COMPRESSOR_FREQUENCY] =
			"compressor frequency or speed, Hz or rpm; 0 at rest",
		[ROLE_OPERATING_MODE] = "words for what the unit does: heating, hot "
					"water, defrost, standby",
		[ROLE_VALVE] = "three-way or diverter valve: which way the water goes",
		[ROLE_DEFROST] = "a flag: defrosting or not",
		[ROLE_HEAT_POWER] = "heat power of a heat meter or of the unit, kW",
		[ROLE_HEAT_REGISTER] = "energy register of a heat meter, kWh",
		[ROLE_CIRCULATION_PUMP] = "a flag: the circuit's pump runs or not",
		[ROLE_SOURCE_ENTERING_TEMPERATURE] =
			"brine or ground water on its way into the unit; -5 to 15 °C",
		[ROLE_SOURCE_LEAVING_TEMPERATURE] =
			"brine or ground water on its way out of the unit; about 3 K "
			"colder while it runs",
		[ROLE_SOURCE_FLOW_RATE] =
			"brine or ground water that moves; 10 to 60 L/min, 0 at rest",
		[ROLE_SOURCE_HEAT_POWER] =
			"power of a heat meter on the source's side, kW, above 0 while "
			"heat is taken",
	};
	assert(role < ROLE_COUNT);
	return hints[role];
}
