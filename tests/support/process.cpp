#include "support/process.h"

#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <thread>

namespace fw::test {

TempDir::TempDir() {
  std::string pattern = (std::filesystem::temp_directory_path() / "firnwatt-test-XXXXXX").string();
  if (!mkdtemp(pattern.data())) throw std::runtime_error("no temporary folder");
  path_ = pattern;
}

TempDir::~TempDir() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::string TempDir::write(const std::string& name, const std::string& text) const {
  std::ofstream(file(name), std::ios::binary) << text;
  return file(name);
}

std::string read_file(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

Process::Process(std::vector<std::string> argv, std::string out_path, std::string err_path, std::vector<std::string> env, std::string in_path) {
  std::vector<char*> args;
  for (auto& a : argv) args.push_back(a.data());
  args.push_back(nullptr);
  const char* in = in_path.empty() ? "/dev/null" : in_path.c_str();
  const char* out = out_path.empty() ? "/dev/null" : out_path.c_str();
  const char* err = err_path.empty() ? "/dev/null" : err_path.c_str();
  const pid_t parent = getpid();
  pid_ = fork();
  if (pid_ < 0) throw std::runtime_error("fork failed");
  if (pid_ == 0) {
    prctl(PR_SET_PDEATHSIG, SIGKILL);  // a test that dies leaves nothing behind
    if (getppid() != parent) _exit(127);
    const int i = open(in, O_RDONLY), o = open(out, O_WRONLY | O_CREAT | O_APPEND, 0644), e = open(err, O_WRONLY | O_CREAT | O_APPEND, 0644);
    dup2(i, 0);
    dup2(o, 1);
    dup2(e, 2);
    for (int fd = 3; fd < 256; ++fd) close(fd);
    for (auto& v : env) putenv(v.data());
    execvp(args[0], args.data());
    _exit(127);
  }
}

Process::~Process() {
  if (code_) return;
  ::kill(pid_, SIGKILL);
  int status;
  waitpid(pid_, &status, 0);
}

void Process::signal(int number) {
  if (!code_) ::kill(pid_, number);
}

std::optional<int> Process::wait(std::chrono::milliseconds limit) {
  eventually([this] { return !running(); }, limit);
  return code_;
}

bool Process::running() {
  if (code_) return false;
  int status;
  if (waitpid(pid_, &status, WNOHANG) != pid_) return true;
  code_ = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return false;
}

Finished run(std::vector<std::string> argv, std::vector<std::string> env, std::chrono::milliseconds limit) {
  const TempDir dir;
  Process p(std::move(argv), dir.file("out"), dir.file("err"), std::move(env));
  const auto code = p.wait(limit);
  return {code.value_or(999), read_file(dir.file("out")), read_file(dir.file("err"))};
}

void pause_for(std::chrono::milliseconds span) { std::this_thread::sleep_for(span); }

std::chrono::milliseconds steady_now() {
  return std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::steady_clock::now().time_since_epoch());
}

std::chrono::milliseconds Process::cpu_time() const {
  const std::string stat = read_file("/proc/" + std::to_string(pid_) + "/stat");
  const auto at = stat.rfind(')');
  if (at == std::string::npos) return {};
  // Fields 14 and 15 (user, system) in clock ticks; field 3 follows the name.
  std::istringstream fields(stat.substr(at + 2));
  std::string skipped;
  for (int i = 3; i < 14; ++i) fields >> skipped;
  long long user = 0, system = 0;
  fields >> user >> system;
  return std::chrono::milliseconds{(user + system) * 1000 / sysconf(_SC_CLK_TCK)};
}

double Process::resident_mb() const {
  std::istringstream fields(read_file("/proc/" + std::to_string(pid_) + "/statm"));
  double all = 0, resident = 0;
  fields >> all >> resident;
  return resident * static_cast<double>(sysconf(_SC_PAGESIZE)) / 1e6;
}

}  // namespace fw::test
