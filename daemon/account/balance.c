/* What the energy balance needs of a configuration. See balance.h. */
#include <heatbook/balance.h>

#include <heatbook/boundary.h>

typedef bool meter_test(const struct config *config, size_t meter);

static bool any(const struct config *config, size_t meter)
{
	(void)config, (void)meter;
	return true;
}

static bool powerless(const struct config *config, size_t meter)
{
	return !config_meter_has_power(config, meter);
}

static bool immersed(const struct config *config, size_t meter)
{
	return config->meters[meter].serves & DEVICE_IMMERSION;
}

/* The first meter that serves any of the devices, beside no true one, and is so; or -1.
 */
static int meter_of(const struct config *config, unsigned devices, meter_test *is)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].serves & devices && !boundary_beside(config, m) &&
			is(config, m))
			return (int)m;
	return -1;
}

bool unit_is_told(const struct config *config)
{
	return meter_of(config, DEVICE_COMPRESSOR, any) >= 0 &&
	       meter_of(config, DEVICE_COMPRESSOR, powerless) < 0 &&
	       meter_of(config, DEVICE_COMPRESSOR, immersed) < 0;
}

bool heat_is_told(const struct config *config)
{
	bool flows = config_role(config, ROLE_FLOW_RATE) >= 0 ||
		     config->plant.assumed_flow_lpm > 0.0;
	if (config->plant.heat_source != HEAT_COMPUTED &&
		config_role(config, ROLE_HEAT_POWER) >= 0)
		return true;
	return config->plant.heat_source != HEAT_POWER && flows &&
	       config_role(config, ROLE_FLOW_TEMPERATURE) >= 0 &&
	       config_role(config, ROLE_RETURN_TEMPERATURE) >= 0;
}

bool balance_heater_open(const struct config *config)
{
	return !plant_lacks(config, DEVICE_BACKUP_HEATER) &&
	       meter_of(config, DEVICE_BACKUP_HEATER, any) < 0;
}

enum balance_lack balance_lacks(const struct config *config, int *ret_meter)
{
	const unsigned counted = DEVICE_COMPRESSOR | DEVICE_BACKUP_HEATER;
	int unit = meter_of(config, DEVICE_COMPRESSOR, powerless);
	int rod = meter_of(config, counted, immersed);
	int heater = meter_of(config, DEVICE_BACKUP_HEATER, powerless);
	bool listed = config->plant.devices & DEVICE_BACKUP_HEATER;

	*ret_meter = unit >= 0 ? unit : rod >= 0 ? rod : heater;
	if (unit >= 0 || meter_of(config, DEVICE_COMPRESSOR, any) < 0)
		return BALANCE_LACKS_UNIT;
	if (rod >= 0)
		return BALANCE_HAS_IMMERSION;
	if (heater >= 0 || (listed && balance_heater_open(config)))
		return BALANCE_LACKS_HEATER;
	*ret_meter = -1;
	return heat_is_told(config) ? BALANCE_LACKS_NOTHING : BALANCE_LACKS_HEAT;
}
