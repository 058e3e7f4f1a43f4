#include "song/plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <set>
#include <tuple>
#include <utility>

#include "base/bounds.h"
#include "base/document.h"
#include "base/files.h"
#include "base/table.h"
#include "base/text.h"
#include "judge/draft.h"

namespace sendworthy::song {
namespace {

using base::Node;
using base::Table;
using base::wrong;

constexpr std::size_t kLongestName = 200, kLongestQuestion = 500, kLongestIntent = 4000;
constexpr double kLongest = 86400;  // seconds
constexpr int kLowestPriority = 99;

constexpr std::array<std::pair<Role, std::string_view>, 15> kRoles{{{Role::lead_vocal, "lead vocal"},
                                                                    {Role::backing_vocal, "backing vocal"},
                                                                    {Role::kick, "kick"},
                                                                    {Role::snare, "snare"},
                                                                    {Role::drums, "drums"},
                                                                    {Role::percussion, "percussion"},
                                                                    {Role::bass, "bass"},
                                                                    {Role::lead, "lead"},
                                                                    {Role::guitar, "guitar"},
                                                                    {Role::keys, "keys"},
                                                                    {Role::pad, "pad"},
                                                                    {Role::strings, "strings"},
                                                                    {Role::brass, "brass"},
                                                                    {Role::effects, "effects"},
                                                                    {Role::other, "other"}}};
constexpr std::array<std::pair<Heard, std::string_view>, 5> kHeard{{{Heard::full, "full"},
                                                                    {Heard::quiet, "quiet"},
                                                                    {Heard::mono, "mono"},
                                                                    {Heard::lows, "lows"},
                                                                    {Heard::small_speaker, "small speaker"}}};
constexpr std::array<std::pair<Lowest, std::string_view>, 2> kLowest{{{Lowest::kick, "kick"}, {Lowest::bass, "bass"}}};
constexpr std::array<std::pair<Status, std::string_view>, 3> kSeverities{{{Status::fail, "fail"}, {Status::warn, "warn"}, {Status::note, "note"}}};

template <class T, std::size_t N>
std::string_view word_of(const std::array<std::pair<T, std::string_view>, N>& choices, T value) {
  const auto found = std::ranges::find(choices, value, &std::pair<T, std::string_view>::first);
  return found != choices.end() ? found->second : std::string_view();
}

template <class T, std::size_t N>
std::span<const T> values_of(const std::array<std::pair<T, std::string_view>, N>& choices) {
  static const auto kAll = [&] {
    std::array<T, N> all{};
    for (std::size_t i = 0; i < N; ++i) all[i] = choices[i].first;
    return all;
  }();
  return kAll;
}

void at_most(Table& table, std::string_view key, const std::string& text, std::size_t characters) {
  const auto node = table.find(key);
  if (node && base::code_points(text).size() > characters) table.refuse(node->error(fmt::format("{} must have at most {} characters", key, characters)));
}

void name(Table& table, std::string_view key, std::string& target) {
  table.one_line(key, target);
  at_most(table, key, target, kLongestName);
}

/// A path as read from the plan's folder; "" stays so.
void path(Table& table, std::string_view key, const std::string& plan, std::string& target) {
  table.one_line(key, target);
  if (!target.empty()) target = base::from_folder_of(plan, target);
}

/// The key's own place where there is one, else that of its table.
Node at(const Node& node, std::string_view key) { return node.find(key).value_or(node); }

Result<double> read_time(const Node& node) {
  if (node.type() == Node::Type::integer || node.type() == Node::Type::real) {
    const auto value = node.number();
    if (!value) return value;
    if (*value >= 0 && *value < kLongest) return value;
  } else if (node.type() == Node::Type::text) {
    if (const auto value = seconds_in(*node.text())) return *value;
  }
  return wrong(node, "a time is a number of seconds or a text such as \"1:23.5\" or \"0:01:23\", from 0 and below 24 hours");
}

/// The bounds of `lowest` and `highest` keep slips of the hand out, such as a level in the place of a difference.
Result<std::optional<Range>> read_range(const Node& node) {
  constexpr double kFarthest = 60;  // LU
  const auto bad = [&](const Node& place) {
    return wrong(place, "a range is two numbers of LU from -60 to 60, the lower one first, such as [-1.0, 2.0]; [] where it is not stated");
  };
  if (node.type() != Node::Type::array) return bad(node);
  const auto members = node.members();
  if (members.empty()) return std::optional<Range>();
  if (members.size() != 2) return bad(node);
  const auto low = members[0].number(), high = members[1].number();
  if (!low || !high || *low < -kFarthest || *high > kFarthest || *low > *high) return bad(node);
  return std::optional(Range{*low, *high});
}

Result<void> read_song(const Node& node, Plan& plan) {
  Table table(node, "[song]", {"title", "artist", "feeling", "approach", "mix", "previous"});
  name(table, "title", plan.title);
  name(table, "artist", plan.artist);
  for (const auto& [key, target] : {std::pair{"feeling", &plan.feeling}, {"approach", &plan.approach}}) {
    table.text(key, *target);
    at_most(table, key, *target, kLongestIntent);
    if (base::is_blank(*target)) target->clear();
  }
  path(table, "mix", plan.path, plan.mix);
  path(table, "previous", plan.path, plan.previous);
  if (const auto ok = table.done(); !ok) return ok;
  if (plan.mix.empty()) return wrong(at(node, "mix"), "[song] needs a mix: the path of the bounce, read from the plan's folder");
  return {};
}

struct ReadSection {
  Section section;
  Node node;
};

Result<Section> read_section(const Node& node) {
  Section section;
  section.place = node.place();
  Table table(node, "[[section]]", {"name", "start", "end", "biggest", "quietest"});
  name(table, "name", section.name);
  std::optional<double> start;
  const auto time = [](const Node& one) -> Result<std::optional<double>> {
    const auto value = read_time(one);
    if (!value) return tl::unexpected(value.error());
    return std::optional(*value);
  };
  table.take("start", start, time);
  table.take("end", section.end_s, time);
  table.flag("biggest", section.biggest);
  table.flag("quietest", section.quietest);
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  if (base::is_blank(section.name)) return wrong(at(node, "name"), "[[section]] needs a name, such as \"verse 1\"");
  if (!start) return wrong(node, "[[section]] needs a start: seconds, or a text such as \"1:23.5\"");
  section.start_s = *start;
  section.own_end = section.end_s.has_value();
  if (section.end_s && *section.end_s <= section.start_s) return wrong(*node.find("end"), "end must lie behind start");
  if (section.biggest && section.quietest) return wrong(*node.find("quietest"), "one section cannot be both the biggest and the quietest");
  return section;
}

/// Sorted by start, held against one another, and each without an end given the next one's start.
Result<void> settle_sections(std::vector<ReadSection>& all, Plan& plan) {
  std::set<std::string_view> names;
  const ReadSection *biggest = nullptr, *quietest = nullptr;
  for (const auto& one : all) {
    if (!names.insert(one.section.name).second)
      return wrong(*one.node.find("name"), fmt::format("two sections are called {}: number them", judge::in_quotes(one.section.name)));
    for (const auto& [key, marked, first] : {std::tuple{"biggest", one.section.biggest, &biggest}, {"quietest", one.section.quietest, &quietest}}) {
      if (!marked) continue;
      if (*first != nullptr) return wrong(*one.node.find(key), fmt::format("only one section can be the {}, and {} is", key, judge::in_quotes((*first)->section.name)));
      *first = &one;
    }
  }
  std::ranges::stable_sort(all, {}, [](const ReadSection& one) { return one.section.start_s; });
  for (std::size_t i = 0; i + 1 < all.size(); ++i) {
    auto& one = all[i].section;
    const auto& next = all[i + 1];
    if (!one.end_s) one.end_s = next.section.start_s;
    if (next.section.start_s < *one.end_s || next.section.start_s == one.start_s) {
      return wrong(*next.node.find("start"),
                   fmt::format("{} starts at {}, within {}; sections may touch and must not overlap", judge::in_quotes(next.section.name),
                               base::clock_time(next.section.start_s), judge::in_quotes(one.name)));
    }
  }
  for (auto& one : all) plan.sections.push_back(std::move(one.section));
  return {};
}

Result<Stem> read_stem(const Node& node, const Plan& plan) {
  Stem stem;
  stem.place = node.place();
  Table table(node, "[[stem]]", {"name", "file", "role", "priority"});
  name(table, "name", stem.name);
  path(table, "file", plan.path, stem.file);
  table.take("role", stem.role, [](const Node& role) { return judge::choice(role, "role", kRoles); });
  table.take("priority", stem.priority, [](const Node& priority) -> Result<std::optional<int>> {
    const auto value = priority.integer();
    if (!value) return tl::unexpected(value.error());
    if (*value < 1 || *value > kLowestPriority) return wrong(priority, fmt::format("priority is a whole number from 1, what matters most, to {}", kLowestPriority));
    return std::optional(static_cast<int>(*value));
  });
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  if (base::is_blank(stem.name)) return wrong(at(node, "name"), "[[stem]] needs a name, such as \"lead vocal\"");
  if (stem.file.empty()) return wrong(at(node, "file"), "[[stem]] needs a file: its path, read from the plan's folder");
  if (!node.find("role")) return wrong(node, "[[stem]] needs a role, such as \"lead vocal\", \"kick\" or \"other\"");
  return stem;
}

/// "./a.wav" and "b/../a.wav" are one file.
std::string same_file(const std::string& file) { return std::filesystem::path(file).lexically_normal().string(); }

Result<void> read_stems(const std::vector<Node>& nodes, Plan& plan) {
  std::set<std::string, std::less<>> names, files;
  for (const auto& node : nodes) {
    auto stem = read_stem(node, plan);
    if (!stem) return tl::unexpected(stem.error());
    if (!names.insert(stem->name).second) return wrong(*node.find("name"), fmt::format("two stems are called {}", judge::in_quotes(stem->name)));
    if (!files.insert(same_file(stem->file)).second) return wrong(*node.find("file"), fmt::format("two stems are the file {}", judge::in_quotes(stem->file)));
    if (same_file(stem->file) == same_file(plan.mix)) return wrong(*node.find("file"), "this is the mix, and no stem of it");
    plan.stems.push_back(std::move(*stem));
  }
  return {};
}

/// The element that a name means.
template <class T>
Result<std::size_t> named(const Node& node, std::string_view what, std::string_view name, const std::vector<T>& all) {
  std::vector<std::string_view> known;
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (all[i].name == name) return i;
    known.push_back(all[i].name);
  }
  if (known.empty()) return wrong(node, fmt::format("no {} is called {}: the plan has no [[{}]]", what, judge::in_quotes(name), what));
  return judge::no_such(node, what, name, known);
}

Result<void> read_vocal(const Node& node, Plan& plan) {
  Table table(node, "[vocal]", {"above_band", "sections"});
  table.take("above_band", plan.above_band_lu, read_range);
  const auto sections = table.find("sections");
  if (const auto ok = table.done(); !ok || !sections) return ok;
  if (sections->type() != Node::Type::table) return wrong(*sections, "write sections = { \"verse 1\" = [-2.0, 1.0] }: a range for each section that is named");
  for (const auto& member : sections->members()) {
    const auto section = named(member, "section", member.key(), plan.sections);
    if (!section) return tl::unexpected(Error{section.error().code, section.error().text, member.key_place()});
    const auto range = read_range(member);
    if (!range) return tl::unexpected(range.error());
    plan.sections[*section].vocal_lu = *range;
  }
  return {};
}

Result<void> read_backing(const Node& node, Plan& plan) {
  Table table(node, "[backing]", {"under_lead"});
  table.take("under_lead", plan.under_lead_lu, read_range);
  return table.done();
}

Result<void> read_dynamics(const Node& node, Plan& plan) {
  Table table(node, "[dynamics]", {"quiet_to_loud", "biggest_margin", "movement"});
  table.number("quiet_to_loud", plan.dynamics.quiet_to_loud_lu, 0, 60);
  table.number("biggest_margin", plan.dynamics.biggest_margin_lu, 0, 60);
  table.number("movement", plan.dynamics.movement_db, 0, 60);
  return table.done();
}

Result<void> read_low_end(const Node& node, Plan& plan) {
  auto& low = plan.low_end;
  Table table(node, "[low_end]", {"below_hz", "lowest", "kick_over_bass", "bass_steadiness"});
  table.number("below_hz", low.below_hz, 40, 250);
  table.take("lowest", low.lowest, [](const Node& lowest) -> Result<Lowest> {
    const auto text = lowest.text();
    if (text && text->empty()) return Lowest::not_stated;
    return judge::choice(lowest, "part", kLowest);
  });
  table.number("kick_over_bass", low.kick_over_bass_db, -60, 60);
  table.number("bass_steadiness", low.bass_steadiness_db, 0, 60);
  return table.done();
}

Result<void> read_masking(const Node& node, Plan& plan) {
  Table table(node, "[masking]", {"most"});
  table.number("most", plan.most_masked_percent, 0, 100);
  return table.done();
}

Result<void> read_quiet(const Node& node, Plan& plan) {
  auto& quiet = plan.quiet;
  Table table(node, "[quiet]", {"level_db_spl", "reference_db_spl", "small_speaker", "moved"});
  table.number("level_db_spl", quiet.level_db_spl, 10, 90);
  table.number("reference_db_spl", quiet.reference_db_spl, 40, 95);
  table.flag("small_speaker", quiet.small_speaker);
  table.number("moved", quiet.moved_db, 0, 60);
  if (const auto ok = table.done(); !ok) return ok;
  if (quiet.level_db_spl >= quiet.reference_db_spl) {
    return wrong(node.find("level_db_spl").value_or(at(node, "reference_db_spl")),
                 fmt::format("level_db_spl, {}, must lie below reference_db_spl, {}", base::shortest(quiet.level_db_spl), base::shortest(quiet.reference_db_spl)));
  }
  return {};
}

std::vector<std::string_view> rule_ids() {
  std::vector<std::string_view> ids;
  for (const auto& rule : plan_rules()) ids.push_back(rule.id);
  return ids;
}

Result<void> read_severities(const Node& node, Plan& plan) {
  Table table(node, "[severity]", rule_ids());
  if (const auto ok = table.done(); !ok) return ok;
  for (const auto& member : node.members()) {
    const auto severity = judge::choice(member, "severity", kSeverities);
    if (!severity) return tl::unexpected(severity.error());
    plan.severities.emplace(member.key(), *severity);
  }
  return {};
}

Result<Question> read_question(const Node& node, const Plan& plan) {
  Question question;
  question.place = node.place();
  Table table(node, "[[question]]", {"id", "text", "section", "stem", "heard"});
  table.text("id", question.id);
  table.one_line("text", question.text);
  at_most(table, "text", question.text, kLongestQuestion);
  const auto place_in = [](const auto& all, std::string_view what) {
    return [&all, what](const Node& one) -> Result<std::optional<std::size_t>> {
      const auto text = one.text();
      if (!text) return tl::unexpected(text.error());
      const auto found = named(one, what, *text, all);
      if (!found) return tl::unexpected(found.error());
      return std::optional(*found);
    };
  };
  table.take("section", question.section, place_in(plan.sections, "section"));
  table.take("stem", question.stem, place_in(plan.stems, "stem"));
  table.take("heard", question.heard, [](const Node& heard) { return judge::choice(heard, "way to hear", kHeard); });
  if (const auto ok = table.done(); !ok) return tl::unexpected(ok.error());
  if (!judge::is_rule_id(question.id))
    return wrong(at(node, "id"), "[[question]] needs an id: lower-case letters and digits, joined by single hyphens, at most 64");
  if (base::is_blank(question.text)) return wrong(at(node, "text"), "[[question]] needs a text: what is asked");
  return question;
}

Result<void> read_questions(const std::vector<Node>& nodes, Plan& plan) {
  std::set<std::string, std::less<>> ids;
  for (const auto& node : nodes) {
    auto question = read_question(node, plan);
    if (!question) return tl::unexpected(question.error());
    if (!ids.insert(question->id).second) return wrong(*node.find("id"), fmt::format("two questions have the id {}", judge::in_quotes(question->id)));
    plan.questions.push_back(std::move(*question));
  }
  return {};
}

Result<void> read_references(const std::vector<Node>& nodes, Plan& plan) {
  for (const auto& node : nodes) {
    Reference reference;
    reference.place = node.place();
    Table table(node, "[[reference]]", {"file"});
    path(table, "file", plan.path, reference.file);
    if (const auto ok = table.done(); !ok) return ok;
    if (reference.file.empty()) return wrong(at(node, "file"), "[[reference]] needs a file: its path, read from the plan's folder");
    plan.references.push_back(std::move(reference));
  }
  return {};
}

Result<std::vector<Node>> tables(const Node& root, std::string_view key, std::size_t most) {
  auto nodes = judge::tables_of(root, key);
  if (nodes && nodes->size() > most) return wrong((*nodes)[most], fmt::format("a plan has at most {} [[{}]]; this one has {}", most, key, nodes->size()));
  return nodes;
}

Result<void> read_sections(const std::vector<Node>& nodes, Plan& plan) {
  std::vector<ReadSection> all;
  for (const auto& node : nodes) {
    auto section = read_section(node);
    if (!section) return tl::unexpected(section.error());
    all.push_back({std::move(*section), node});
  }
  return settle_sections(all, plan);
}

}  // namespace

std::string_view to_string(Role role) { return word_of(kRoles, role); }
std::span<const Role> roles() { return values_of(kRoles); }
std::string_view to_string(Heard heard) { return word_of(kHeard, heard); }
std::span<const Heard> ways_to_hear() { return values_of(kHeard); }
std::string_view to_string(Lowest lowest) { return word_of(kLowest, lowest); }

std::optional<Range> vocal_range(const Plan& plan, const Section& section) { return section.vocal_lu ? section.vocal_lu : plan.above_band_lu; }

std::optional<double> seconds_in(std::string_view text) {
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  const auto whole = [&](std::string_view digits) -> std::optional<double> {
    if (digits.empty() || digits.size() > 6 || !std::ranges::all_of(digits, is_digit)) return std::nullopt;
    double value = 0;
    for (const char c : digits) value = value * 10 + (c - '0');
    return value;
  };
  double seconds = 0;
  for (int parts = 1;; ++parts) {
    const auto colon = text.find(':');
    const auto part = text.substr(0, colon);
    const auto point = part.find('.');
    const auto value = whole(part.substr(0, point));
    // Behind a colon stand two digits below 60: "1:5" may be 5 or 50 seconds.
    if (!value || parts > 3 || (parts > 1 && (part.substr(0, point).size() != 2 || *value >= 60))) return std::nullopt;
    seconds = seconds * 60 + *value;
    if (colon != std::string_view::npos) {
      if (point != std::string_view::npos) return std::nullopt;
      text.remove_prefix(colon + 1);
      continue;
    }
    if (point != std::string_view::npos) {
      const auto digits = part.substr(point + 1);
      const auto fraction = whole(digits);
      if (!fraction) return std::nullopt;
      seconds += *fraction / std::pow(10.0, static_cast<double>(digits.size()));
    }
    if (seconds >= kLongest) return std::nullopt;
    return seconds;
  }
}

Result<Plan> parse_plan(std::string_view toml, const std::string& shown_path) {
  const auto document = base::Document::parse(toml, shown_path);
  if (!document) return tl::unexpected(document.error());
  const auto root = document->root();
  if (const auto ok = root.only({"song", "section", "stem", "vocal", "backing", "dynamics", "low_end", "masking", "quiet", "reference", "question", "severity", "waiver"}, "a plan"); !ok)
    return tl::unexpected(ok.error());
  Plan plan;
  plan.path = shown_path;
  const auto song = root.find("song");
  if (!song) return fail(ErrorCode::rules, "a plan needs a table [song] with mix", {shown_path, 1, 1});
  if (const auto ok = read_song(*song, plan); !ok) return tl::unexpected(ok.error());
  using ReadTables = Result<void> (*)(const std::vector<Node>&, Plan&);
  const auto each_of = [&](std::string_view key, std::size_t most, ReadTables read) -> Result<void> {
    const auto nodes = tables(root, key, most);
    if (!nodes) return tl::unexpected(nodes.error());
    return read(*nodes, plan);
  };
  // Sections and stems come first: what follows names them.
  for (const auto& [key, most, read] : {std::tuple<std::string_view, std::size_t, ReadTables>{"section", kMostSections, read_sections},
                                        {"stem", kMostStems, read_stems},
                                        {"reference", kMostReferences, read_references},
                                        {"question", kMostQuestions, read_questions}}) {
    if (const auto ok = each_of(key, most, read); !ok) return tl::unexpected(ok.error());
  }
  using ReadTable = Result<void> (*)(const Node&, Plan&);
  for (const auto& [key, read] : {std::pair<std::string_view, ReadTable>{"vocal", read_vocal},
                                  {"backing", read_backing},
                                  {"dynamics", read_dynamics},
                                  {"low_end", read_low_end},
                                  {"masking", read_masking},
                                  {"quiet", read_quiet},
                                  {"severity", read_severities}}) {
    const auto node = root.find(key);
    if (!node) continue;
    if (const auto ok = read(*node, plan); !ok) return tl::unexpected(ok.error());
  }
  auto waivers = judge::read_waivers(root);
  if (!waivers) return tl::unexpected(waivers.error());
  const auto ids = rule_ids();
  for (const auto& waiver : *waivers) {
    if (std::ranges::find(ids, waiver.rule) != ids.end()) continue;
    // Rules of the sets that the files are held against have waivers here as well, and other names.
    if (const auto near = judge::did_you_mean(waiver.rule, ids); !near.empty())
      return fail(ErrorCode::rules, fmt::format("a waiver for {}, which is no finding of a plan{}", judge::in_quotes(waiver.rule), near), waiver.place);
  }
  plan.waivers = std::move(*waivers);
  return plan;
}

Result<Plan> read_plan(const std::string& path) {
  const auto text = base::read_text_in_bounds(path, 1u << 20);
  // The call names it: that it cannot be read is a wrong call and no input without a sheet.
  if (!text) return fail(ErrorCode::rules, text.error().text, text.error().place);
  return parse_plan(*text, path);
}

}  // namespace sendworthy::song
