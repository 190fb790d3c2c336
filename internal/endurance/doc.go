// Package endurance tries the real program under load: killed at chance moments, on a disk that
// fills, beside others of its kind, and over a database that goes away. All of it is tests, on
// Linux; what was acknowledged must be there once, whatever happened.
//
// MOULDWRIGHT_SEED repeats a run's choices, though not the moments at which the machine made
// them happen. MOULDWRIGHT_KILLS, MOULDWRIGHT_DB_KILLS and MOULDWRIGHT_CREATES are how often the
// program is killed for each store, how often the database is, and how many quotes are created
// across three servers.
package endurance
