-- A relay board with plain text orders; # in an order stands for the number of the relay.

local function order(text, point)
  return (text:gsub("#", tostring(point)))
end

return driver {
  title = "relay board, plain text",
  can = { "relay" },
  safe = function(self) return self.settings.open_all end,
  settings = {
    close = "close #", open = "open #", open_all = "open all",
    state = "state #", closed = "closed", opened = "open", -- a question, and what it answers
    name = "name",                                         -- a question whose answer is its model
    settle = 0.02,                                         -- s that contacts may bounce
  },

  identify = function(self)
    return { model = self:ask(self.settings.name) }
  end,

  connect = function(self, point)
    self:tell(order(self.settings.close, point))
    local state = self:ask(order(self.settings.state, point))
    if state ~= self.settings.closed then
      fail("relay " .. point .. " does not close", "see the board")
    end
    self:wait(self.settings.settle)
  end,

  disconnect = function(self, point)
    self:tell(order(self.settings.open, point))
    local state = self:ask(order(self.settings.state, point))
    if state ~= self.settings.opened then
      fail("relay " .. point .. " does not open", "take the cell out by hand")
    end
    self:wait(self.settings.settle)
  end,
}
