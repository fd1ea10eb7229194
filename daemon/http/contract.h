/* What contract.json holds, as the build put it into the program: JSON without blanks. */
#ifndef HEATBOOK_HTTP_CONTRACT_H
#define HEATBOOK_HTTP_CONTRACT_H

extern const char contract_components[];

#endif
