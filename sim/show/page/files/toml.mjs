// Settings as text for the scenario file.

const ORDER = [
  "occupied_level", "unoccupied_level", "timeout_s", "fade_up_s", "fade_down_s", "second_delay_s", "second_level",
];

/** Return TOML tables, one for each set of settings; they replace those of the same name. */
export function settingsText(settings) {
  return settings
    .map((own) => {
      const lines = ORDER.filter((key) => own[key] !== null).map((key) => `${key} = ${own[key]}`);
      return [`[lighting.settings.${keyText(own.name)}]`, ...lines, ""].join("\n");
    })
    .join("\n");
}

/** A name as a TOML key. */
function keyText(name) {
  return /^[A-Za-z0-9_-]+$/.test(name) ? name : JSON.stringify(name);
}
