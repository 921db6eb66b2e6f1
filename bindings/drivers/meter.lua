-- A digital multimeter: voltage at the cell or, wired into its line with a shunt of its own, current.
-- SCPI-1999, volume 4, digital meters; the common commands of IEEE 488.2.

local functions = { voltage = "VOLT", current = "CURR", temperature = "TEMP" }

local function measures(self)
  local name = self.settings.measures
  if not functions[name] then
    fail("it cannot measure " .. name, "write voltage, current or temperature")
  end
  return name
end

return driver {
  title = "digital multimeter (SCPI-1999)",
  can = { "meter", "thermometer" },
  sync = { ask = "*IDN?" },
  settings = {
    remote = "",            -- sent before all else, such as SYST:REM on a serial line
    measures = "voltage",   -- or current, positive into the cell, or temperature
    range = 0,              -- V or A, the greatest value to be measured; 0: it finds its range itself
    cycles = 0,             -- of the power line that a reading lasts; 0: as it is
    patience = 0,           -- s for one reading; 0: the link's
    marked = false,         -- for one that sends numbers without being asked: an answer must show that it is one
  },

  identify = function(self)
    return identity(self:ask("*IDN?"))
  end,

  prepare = function(self)
    local name = functions[measures(self)]
    if self.settings.remote ~= "" then self:tell(self.settings.remote) end
    self:tell("*CLS")
    self:tell("CONF:" .. name)
    if self.settings.range > 0 then
      self:tell(name .. ":RANG " .. nr3(self.settings.range))
    end
    if self.settings.cycles > 0 then
      self:tell(name .. ":NPLC " .. nr3(self.settings.cycles))
    end
    self:ask("*OPC?")
    self:check()
  end,

  read = {
    {
      -- Marked, the answer to *OPC?, which is 1, comes with the number, behind a semicolon (IEEE 488.2, 8.4).
      ask = function(self) return self.settings.marked and "READ?;*OPC?" or "READ?" end,
      ends = function(self) return self.settings.marked and ";1" or "" end,
      gives = measures,
      patience = function(self) return self.settings.patience end,
    },
  },
}
