-- The study words: what `s` is inside `run = function(s, p)`. Loaded into each study's own state, under the
-- script's own limits; what reaches the engine goes through the functions handed in below.
--
-- A set is a list of labels (so # and ipairs work) that knows which of its cells have been drawn.
local word = ...

local fail, perform, place, wait_age = word.fail, word.perform, word.place, word.wait_age
local now, ask, random, about = word.now, word.ask, word.random, word.about

local Set, Study = {}, {}
local withdrawn = {} -- label -> true

local function new_set(labels)
  table.sort(labels)
  local left = {}
  for i, label in ipairs(labels) do
    left[i] = label
  end
  return setmetatable(labels, { __index = Set, left = left, drawn = {} })
end

-- One label, a list of labels or a set, as a list.
local function labels_of(cells, what)
  if type(cells) == "string" then
    cells = { cells }
  end
  if type(cells) ~= "table" then
    fail(what .. " wants cells, and was given a " .. type(cells), "give a label, a list of labels or a set")
  end
  local list = {}
  for i, label in ipairs(cells) do
    if type(label) ~= "string" then
      fail(what .. ": entry " .. i .. " is no label", "give labels such as \"HER-01\"")
    end
    if not about[label] then
      fail(what .. ": " .. label .. " is no cell of this study", "name it with --cells when the study is started")
    end
    list[i] = label
  end
  return list
end

-- The labels of each model, models in order of name.
local function by_model(labels)
  local names, of = {}, {}
  for _, label in ipairs(labels) do
    local model = about[label].model
    if not of[model] then
      of[model] = {}
      names[#names + 1] = model
    end
    table.insert(of[model], label)
  end
  table.sort(names)
  return names, of
end

-- In an order drawn at random: no model always comes first, or sits in the best place.
local function shuffled(labels)
  local list = {}
  for i, label in ipairs(labels) do
    list[i] = label
  end
  for i = #list, 2, -1 do
    local j = random(i)
    list[i], list[j] = list[j], list[i]
  end
  return list
end

local function whole(count, what)
  if math.type(count) ~= "integer" or count < 0 then
    fail(what .. ": " .. tostring(count) .. " is no number of cells", "give a whole number")
  end
  return count
end

-- Takes `count` cells of each model out of `left`, at random.
local function take(left, count, what)
  local taken = {}
  local names, of = by_model(left)
  for _, model in ipairs(names) do
    local have = #of[model]
    if have < count then
      local are = have == 1 and " is" or " are"
      fail(what .. ": " .. count .. " cells of " .. model .. " are wanted, and " .. have .. are .. " left",
        "enrol more, or ask for fewer")
    end
    local list = shuffled(of[model])
    for i = 1, count do
      taken[#taken + 1] = list[i]
    end
  end
  if #names == 0 and count > 0 then
    fail(what .. ": no cells are left", "enrol more, or ask for fewer")
  end
  return taken
end

local function without(labels, taken)
  local gone, list = {}, {}
  for _, label in ipairs(taken) do
    gone[label] = true
  end
  for _, label in ipairs(labels) do
    if not gone[label] then
      list[#list + 1] = label
    end
  end
  return list
end

-- Those of which use is still made.
local function in_use(labels)
  local list = {}
  for _, label in ipairs(labels) do
    if not withdrawn[label] then
      list[#list + 1] = label
    end
  end
  return list
end

-- set:draw(n): n cells of each model, at random; each cell is drawn once, a withdrawn one never.
function Set:draw(count)
  local meta = getmetatable(self)
  local taken = take(in_use(meta.left), whole(count, "draw"), "draw")
  meta.left = without(meta.left, taken)
  return new_set(taken)
end

-- set:left(): those that have not been drawn.
function Set:left()
  return new_set(in_use(getmetatable(self).left))
end

-- set:of("MODEL")
function Set:of(model)
  local _, of = by_model(self)
  return new_set(of[model] or {})
end

-- s:split { shelf = 12, service = 4 }: so many cells of each model into each arm, at random, on record.
-- What is over is the arm `rest`.
function Study:split(arms)
  if type(arms) ~= "table" then
    fail("split wants a table", "write s:split { shelf = 12, service = 4 }")
  end
  local left, sets = without(self.cells, {}), {}
  for name, count in pairs(arms) do
    if type(name) ~= "string" or name == "rest" then
      fail("split: " .. tostring(name) .. " is no name of an arm", "write s:split { shelf = 12, service = 4 }")
    end
    local taken = take(left, whole(count, "split"), "split")
    left = without(left, taken)
    sets[name] = new_set(taken)
    place("arm", name, sets[name], {})
  end
  sets.rest = new_set(left)
  return sets
end

-- s:perform("capacity", cells, { rate = "500 mA" }, { channel = "A1" }): a protocol on each cell, in
-- parallel over the free channels, or on those named: one for all, or { channel = { ["HER-01"] = "A1" } }.
-- With placed = true the cells have been put in ahead, and nobody is asked for them. Gives back what became
-- of each, those that ended first first, and by label: out["HER-01"].results.capacity
function Study:perform(name, cells, params, options)
  if type(name) ~= "string" then
    fail("perform wants the name of a protocol", "write s:perform(\"capacity\", s.cells)")
  end
  local labels = labels_of(cells, "perform")
  if #labels == 0 then
    fail("perform: there are no cells to perform " .. name .. " on", "give it at least one")
  end
  labels = in_use(labels)
  local out = #labels > 0 and perform(name, shuffled(labels), params or {}, options or {}) or {}
  for _, run in ipairs(out) do
    out[run.cell] = run
    self.charged[run.cell] = run.charged
  end
  return out
end

-- s:store(cells, { charge = "100 %", temperature = "20 degC" }): they are on the shelf from now on.
function Study:store(cells, detail)
  place("shelf", "", labels_of(cells or self.cells, "store"), detail or {})
end

-- s:serve(cells, { cycles_a_day = 1 }): they are in use outside the bench from now on.
function Study:serve(cells, detail) -- luacheck: ignore self
  place("service", "", labels_of(cells, "serve"), detail or {})
end

-- s:withdraw(cells, "leaked"): no further use of them is made; they stay in the tables.
function Study:withdraw(cells, reason)
  if type(reason) ~= "string" or reason == "" then
    fail("withdraw wants a reason", "write s:withdraw(cells, \"leaked\")")
  end
  local labels = labels_of(cells, "withdraw")
  place("withdrawn", "", labels, { reason = reason })
  for _, label in ipairs(labels) do
    withdrawn[label] = true
  end
  local left = getmetatable(self.cells).left
  self.cells = new_set(without(self.cells, labels))
  getmetatable(self.cells).left = without(left, labels)
end

-- s:withdraw_failed(out): of what s:perform gave back, the cells whose run did not end well.
function Study:withdraw_failed(out)
  if type(out) ~= "table" then
    fail("withdraw_failed wants what s:perform gave back", "write s:withdraw_failed(s:perform(...))")
  end
  for _, run in ipairs(out) do
    if run.state ~= "done" then
      self:withdraw(run.cell, run.why or "its run was " .. run.state)
    end
  end
  return out
end

-- s:wait("P42D", { early = "P0D", late = "P2D", missed = "measure" }): until the first of the study's cells
-- is of this age, counted from its own last charge; the first thing performed on each cell after it begins
-- when that is due, and what follows on the same cell at once. Cells with no charge on record count from the
-- first wait. Says "in time" or "late"; `missed` says what to do when late: "measure" (the default), "skip" or
-- "ask".
function Study:wait(age, window)
  window = window or {}
  if type(window) ~= "table" then
    fail("wait: the window is a " .. type(window) .. " and no table", "write s:wait(\"P42D\", { late = \"P2D\" })")
  end
  for key in pairs(window) do
    if key ~= "early" and key ~= "late" and key ~= "missed" then
      fail("wait has no '" .. tostring(key) .. "'", "a window has early, late and missed")
    end
  end
  local missed = window.missed or "measure"
  if missed ~= "measure" and missed ~= "skip" and missed ~= "ask" then
    fail("wait: missed = '" .. tostring(missed) .. "' is not known", "say measure, skip or ask")
  end
  self.first_wait = self.first_wait or now()
  local origin
  for _, label in ipairs(self.cells) do
    local charged = self.charged[label]
    if charged and not (origin and origin <= charged) then
      origin = charged
    end
  end
  local latest = wait_age(origin or self.first_wait, age, window.early or "P0D", window.late or "P100Y")
  if now() <= latest then
    return "in time"
  end
  if missed == "ask" then
    missed = ask { text = "The check at " .. tostring(age) .. " is late. What now?", choices = { "measure", "skip" } }
  end
  return missed == "skip" and "skip" or "late"
end

function Study:ask(question) -- luacheck: ignore self
  return ask(question)
end

-- s:each_model(function(model, cells) ... end)
function Study:each_model(visit)
  local names, of = by_model(self.cells)
  for _, model in ipairs(names) do
    visit(model, new_set(of[model]))
  end
end

-- s:about("HER-01"): model, size, chemistry, rated_Ah
function Study:about(label) -- luacheck: ignore self
  return about[labels_of(label, "about")[1]]
end

local labels = {}
for label in pairs(about) do
  labels[#labels + 1] = label
end
return setmetatable({ cells = new_set(labels), charged = {} }, { __index = Study })
