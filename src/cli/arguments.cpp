#include "cli/arguments.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <charconv>

#include "base/text.h"

namespace sendworthy::cli {
namespace {

constexpr int kColumns = 80;
constexpr int kTermColumns = 27;

std::string in_quotes(std::string_view text) { return "\"" + base::for_terminal(text) + "\""; }

/// What `--expect` goes on to take: a plain lower-case key and an equals sign.
bool looks_like_pair(std::string_view token) {
  const auto equals = token.find('=');
  if (equals == std::string_view::npos || equals == 0) return false;
  return std::all_of(token.begin(), token.begin() + static_cast<std::ptrdiff_t>(equals),
                     [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_'; });
}

std::string did_you_mean(std::string_view word, const std::vector<std::string_view>& candidates) {
  const auto nearest = base::nearest(word, candidates);
  return nearest.empty() ? std::string() : "; did you mean \"" + std::string(nearest) + "\"?";
}

}  // namespace

struct Arguments::Option {
  std::string heading;
  std::string names;       ///< "-q,--quiet"
  std::string long_name;   ///< "--quiet"
  std::string value_name;  ///< "" for a flag
  std::string help;
  enum class Kind { flag, value, values, pairs } kind = Kind::flag;
  CLI::Option* option = nullptr;

  [[nodiscard]] bool has_name(std::string_view name) const {
    std::string_view rest = names;
    while (!rest.empty()) {
      const auto comma = rest.find(',');
      if (rest.substr(0, comma) == name) return true;
      rest = comma == std::string_view::npos ? std::string_view() : rest.substr(comma + 1);
    }
    return false;
  }
};

struct Arguments::Impl {
  CLI::App app;
};

Arguments::Arguments(const Manual& manual) : manual_(manual), impl_(std::make_unique<Impl>()) {
  impl_->app.set_help_flag();
  // Unknown options are collected, so that the message can name the nearest one.
  impl_->app.allow_extras();
}

Arguments::~Arguments() = default;

void Arguments::section(std::string_view heading) { heading_ = heading; }

namespace {

std::string long_name_of(const std::string& names) { return names.substr(names.find("--")); }

}  // namespace

void Arguments::flag(const std::string& names, bool& target, std::string_view help) {
  auto* option = impl_->app.add_flag(names, target)->multi_option_policy(CLI::MultiOptionPolicy::TakeLast);
  options_.push_back({heading_, names, long_name_of(names), "", std::string(help), Option::Kind::flag, option});
}

void Arguments::value(const std::string& names, std::string_view value_name, std::string& target,
                      std::string_view help) {
  auto* option = impl_->app.add_option(names, target)->multi_option_policy(CLI::MultiOptionPolicy::TakeLast);
  options_.push_back(
      {heading_, names, long_name_of(names), std::string(value_name), std::string(help), Option::Kind::value, option});
}

void Arguments::values(const std::string& names, std::string_view value_name, std::vector<std::string>& target,
                       std::string_view help) {
  // Without this an option with a list would take every operand after it, and split a value in square brackets.
  auto* option = impl_->app.add_option(names, target)->allow_extra_args(false);
  options_.push_back(
      {heading_, names, long_name_of(names), std::string(value_name), std::string(help), Option::Kind::values, option});
}

void Arguments::pairs(const std::string& names, std::string_view value_name, std::vector<std::string>& target,
                      std::string_view help) {
  values(names, value_name, target, help);
  options_.back().kind = Option::Kind::pairs;
}

void Arguments::operands(std::vector<std::string>& target) { operands_ = &target; }

bool Arguments::given(const std::string& long_name) const {
  const auto* option = impl_->app.get_option_no_throw(long_name);
  return option != nullptr && option->count() > 0;
}

Error Arguments::unknown_option(const std::string& token) const {
  const auto name = token.substr(0, token.find('='));
  std::vector<std::string_view> candidates{"--help"};
  for (const auto& option : options_) candidates.push_back(option.long_name);
  auto text = "unknown option " + in_quotes(name) + did_you_mean(name, candidates);
  return Error{ErrorCode::usage, text + " (a file name that starts with a dash goes after \"--\")", {}};
}

/// Parts options from operands, and rewrites what CLI11 would read in another sense than written: an option without its
/// value would take the next option as one, an empty value ("--output=") would take the next operand, a list would take
/// every operand after it, and an operand such as "[a,b].wav" or "++" would not stay as it is.
Result<std::vector<std::string>> Arguments::prepare(const std::vector<std::string>& arguments,
                                                    std::vector<std::string>& found) const {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < arguments.size(); ++i) {
    const auto& token = arguments[i];
    if (token == "--") {
      found.insert(found.end(), arguments.begin() + static_cast<std::ptrdiff_t>(i) + 1, arguments.end());
      break;
    }
    if (token.size() < 2 || token[0] != '-') {
      found.push_back(token);
      continue;
    }
    const auto equals = token.compare(0, 2, "--") == 0 ? token.find('=') : std::string::npos;
    const auto name = token.substr(0, equals);
    const auto option =
        std::find_if(options_.begin(), options_.end(), [&](const Option& each) { return each.has_name(name); });
    if (option == options_.end()) {
      // A short option with its value attached ("-j4") is left to CLI11.
      out.push_back(token);
      continue;
    }
    if (option->kind == Option::Kind::flag) {
      if (equals != std::string::npos) return fail(ErrorCode::usage, option->long_name + " takes no value");
      out.push_back(token);
      continue;
    }
    std::string value;
    if (equals != std::string::npos) {
      value = token.substr(equals + 1);
    } else {
      const bool at_end = i + 1 == arguments.size();
      if (at_end || arguments[i + 1].compare(0, 2, "--") == 0) {
        return fail(ErrorCode::usage,
                    option->long_name + " wants a value: " + option->long_name + " " + option->value_name);
      }
      value = arguments[++i];
    }
    out.push_back(name);
    out.push_back(value);
    if (option->kind != Option::Kind::pairs) continue;
    while (i + 1 < arguments.size() && looks_like_pair(arguments[i + 1])) {
      out.push_back(name);
      out.push_back(arguments[++i]);
    }
  }
  return out;
}

Result<void> Arguments::parse(const std::vector<std::string>& arguments) {
  for (const auto& token : arguments) {
    if (token == "--") break;
    if (token == "--help" || token == "-h") {
      help_wanted_ = true;
      return {};
    }
  }
  std::vector<std::string> found;
  auto prepared = prepare(arguments, found);
  if (!prepared) return tl::unexpected(prepared.error());
  try {
    std::reverse(prepared->begin(), prepared->end());  // CLI11 takes them from the back
    impl_->app.parse(std::move(*prepared));
  } catch (const CLI::ParseError& error) {
    return fail(ErrorCode::usage, base::for_terminal(error.what()));
  }
  if (const auto unknown = impl_->app.remaining(); !unknown.empty()) {
    return tl::unexpected(unknown_option(unknown.front()));
  }
  if (operands_ != nullptr) {
    *operands_ = std::move(found);
  } else if (!found.empty()) {
    return fail(ErrorCode::usage, std::string(manual_.name) + " takes no operand, found " + in_quotes(found.front()));
  }
  return {};
}

std::string Arguments::help() const {
  std::string text = "Usage: sendworthy " + std::string(manual_.synopsis) + "\n\n" + paragraph(manual_.summary) + "\n";
  text += "Examples:\n";
  for (const auto& [command, what] : manual_.examples) {
    text += "  " + std::string(command) + "\n" + paragraph(what, 6);
  }
  std::string heading;
  for (const auto& option : options_) {
    if (option.heading != heading) {
      heading = option.heading;
      text += "\n" + heading + ":\n";
    }
    std::string term;
    for (const char c : option.names) term += c == ',' ? std::string(", ") : std::string(1, c);
    if (term.compare(0, 2, "--") == 0) term = "    " + term;
    if (!option.value_name.empty()) term += " " + option.value_name;
    text += term_row(term, option.help, 2, kTermColumns);
  }
  if (options_.empty()) text += "\nOptions:\n";
  text += term_row("-h, --help", "this text", 2, kTermColumns);
  for (const auto& note : manual_.notes) text += "\n" + paragraph(note);
  return text;
}

Result<int> whole_number(std::string_view option, std::string_view text, int lowest, int highest) {
  int number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc() || end != text.data() + text.size() || number < lowest || number > highest) {
    return fail(ErrorCode::usage, std::string(option) + " wants a whole number from " + std::to_string(lowest) +
                                      " to " + std::to_string(highest) + ", found " + in_quotes(text));
  }
  return number;
}

Result<double> seconds_between(std::string_view option, std::string_view text, double lowest, double highest) {
  double number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number, std::chars_format::fixed);
  // Written so that what is no number is refused too.
  if (error != std::errc() || end != text.data() + text.size() || !(number >= lowest && number <= highest)) {
    return fail(ErrorCode::usage, std::string(option) + " wants seconds from " + base::shortest(lowest) + " to " +
                                      base::shortest(highest) + ", found " + in_quotes(text));
  }
  return number;
}

std::string listed(const std::vector<std::string_view>& words) {
  std::string text;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) text += i + 1 == words.size() ? " or " : ", ";
    text += words[i];
  }
  return text;
}

Result<std::string> one_of(std::string_view option, std::string_view text,
                           const std::vector<std::string_view>& accepted) {
  if (std::find(accepted.begin(), accepted.end(), text) != accepted.end()) return std::string(text);
  return fail(ErrorCode::usage, std::string(option) + " wants " + listed(accepted) + ", found " + in_quotes(text) +
                                    did_you_mean(text, accepted));
}

std::string paragraph(std::string_view text, int indent) {
  std::string out;
  for (const auto& line : base::wrap(text, kColumns - indent)) {
    out += std::string(static_cast<std::size_t>(indent), ' ') + line + "\n";
  }
  return out;
}

std::string term_row(std::string_view term, std::string_view text, int indent, int width) {
  const std::string margin(static_cast<std::size_t>(indent), ' ');
  const auto lines = base::wrap(text, kColumns - indent - width);
  std::string out = margin + std::string(term);
  std::size_t next = 0;
  const int used = base::columns(term);
  if (used < width && !lines.empty()) {
    out += std::string(static_cast<std::size_t>(width - used), ' ') + lines[next++];
  }
  out += "\n";
  for (; next < lines.size(); ++next) {
    out += std::string(static_cast<std::size_t>(indent + width), ' ') + lines[next] + "\n";
  }
  return out;
}

}  // namespace sendworthy::cli
